"""Payload bytes to reports, or a refusal that names field, value and what is allowed.

Identity and order are no business of this room: it reads one message at a time.
"""

from __future__ import annotations

from duestroke.messages.encode import encode_reading, encode_status, payloads
from duestroke.messages.report import Decoded, Report, decode_report
from duestroke.messages.status import State, Status, decode_status
from duestroke.messages.topics import (
    REPORTS,
    STATUSES,
    is_report_topic,
    is_status_topic,
    report_topic,
    status_topic,
)
from duestroke.messages.wire import MAX_PAYLOAD, Reason, Refused

__all__ = [
    "MAX_PAYLOAD",
    "REPORTS",
    "STATUSES",
    "Decoded",
    "Reason",
    "Refused",
    "Report",
    "State",
    "Status",
    "decode_report",
    "decode_status",
    "encode_reading",
    "encode_status",
    "is_report_topic",
    "is_status_topic",
    "payloads",
    "report_topic",
    "status_topic",
]
