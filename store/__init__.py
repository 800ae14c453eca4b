"""Postgres: schema, named SQL, repositories, unit of work, leases."""
