"""HL7 v2 scheduling messages for tests: one that is right, with any part of it said otherwise."""

from datetime import date, datetime

from patients.intake import Taken, take
from patients.rules.message_formats import MessageFormat

# The published samples; names were replaced. S13: HL7's own, version 2 chapter 10 "Example
# Transactions". S12: the tutorial page "hl7-siu" of an interface vendor. Standards rows HL7-1, -2.
HL7_S13 = rb"""MSH|^~\&|PRIMARY|EWHIN|JONES|EWHIN|200701040800||SIU^S13^SIU_S12|021244SPOCARD|P|2.8|||AL|ER||
SCH|2007047^SCH001|2007567^SCH100|||||047^Referral|NORMAL||||0045^CONTACT|555-2010|||087^ENTERED|555-2011||||BOOKED
TQ1||||||30^M|200701091300|200701091330||||||
NTE||The patient is going to be on vacation so cannot make previous appointment scheduled on January 6.
PID||4875439|484848||TEST^ONE^A||19401121|M|Alias||2222 Home Street^Jay^WA^99021||555-2003
RGS|001|
AIP|001|032^TEST^TWO|002^CARDIOLOGIST|||||||NO|BOOKED
AIL|001|103^NORTH OFFICE|002^CLINIC|||||||NO|BOOKED
"""  # noqa: E501 - as published
VENDOR_S12 = rb"""MSH|^~\&|MESA_OP|XYZ_HOSPITAL|iFW|ABC_HOSPITAL|20110613061611||SIU^S12|24916560|P|2.3||||||
SCH|10345^10345|2196178^2196178|||10345|OFFICE^Office visit|reason for the appointment|OFFICE|60|m|^^60^20110617084500^20110617093000|||||9^TEST^A||||9^TEST^B|||||Scheduled
PID|1||42||TEST^ONE||19781012|M
RGS|1|A
AIL|1|A|OFFICE^^^OFFICE|^Main Office||20110614084500|||45|m^Minutes||Scheduled
AIP|1|A|1^TEST^TWO|D^TEST||20110614084500|||45|m^Minutes||Scheduled
"""  # noqa: E501 - as published


def siu(
    trigger: str = "S12",
    *,
    control_id: str = "1",
    sent: datetime | str = "20260601100000",
    on: date | str = "20260812",
    case: str = "C1^OR",
    mrn: str = "M1",
    name: str = "Quill^Tobias",
    born: str = "19800203",
    phone: str = "3125550101",
    surgeon: str = "Brask^Ottoline^^^Dr",
    procedure: str = "SLV^Sleeve gastrectomy",
    status: str = "Booked",
    replaced: dict[str, str] | None = None,
) -> bytes:
    """Return a message; `replaced` puts another text in the place of one of its own."""
    at = sent if isinstance(sent, str) else f"{sent:%Y%m%d%H%M%S%z}"
    day = on if isinstance(on, str) else f"{on:%Y%m%d}"
    start = f"{day}0800" if day else ""
    text = "\r".join(
        (
            rf"MSH|^~\&|OR|LARK|CLEAR|LARK|{at}||SIU^{trigger}^SIU_S12|{control_id}|P|2.5.1"
            "||||||UNICODE UTF-8",
            f"SCH||{case}||||EV^event|||60|m|^^60^{start}|||||9^Desk||||9^Desk|||||{status}",
            f"PID|1||{mrn}^^^LARK^MR||{name}||{born}|F|||||{phone}"
            "~^NET^Internet^quill@example.org||en",
            "RGS|1",
            f"AIS|1|A|{procedure}|{start}",
            f"AIL|1|A|OR1^^^Larkfield East|||{start}",
            f"AIP|1|A|7^{surgeon}|surgeon||{start}",
            "",
        )
    )
    for before, after in (replaced or {}).items():
        assert before in text, before
        text = text.replace(before, after)
    return text.encode()


def taken(content: bytes, *, at: datetime) -> Taken:
    """Take in one message."""
    return take(content, format=MessageFormat.HL7_V2, at=at, source="a test")
