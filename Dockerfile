# One image for every part; the command says which. Stage 1 has pip, stage 2 has no way to install.
ARG BASE_IMAGE=python:3.11-slim-bookworm

FROM ${BASE_IMAGE} AS build
ENV PIP_DISABLE_PIP_VERSION_CHECK=1 PIP_NO_CACHE_DIR=1
WORKDIR /src
RUN python3 -m venv /opt/venv
COPY requirements.lock ./
RUN /opt/venv/bin/pip install --quiet --require-hashes -r requirements.lock
COPY pyproject.toml README.md LICENSE ./
COPY duestroke duestroke
COPY store store
COPY ingest ingest
COPY engine engine
COPY api api
COPY dashboard dashboard
COPY simulators simulators
COPY launch launch
RUN /opt/venv/bin/pip install --quiet --no-deps --no-build-isolation .

FROM ${BASE_IMAGE}
ENV PATH=/opt/venv/bin:$PATH PYTHONUNBUFFERED=1 PYTHONDONTWRITEBYTECODE=1
RUN groupadd --gid 10001 duestroke \
 && useradd --uid 10001 --gid 10001 --no-create-home --shell /usr/sbin/nologin duestroke
COPY --from=build /opt/venv /opt/venv
USER 10001:10001
WORKDIR /tmp
ENTRYPOINT ["duestroke"]
CMD ["--help"]
