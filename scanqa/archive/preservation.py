"""PREMIS 3.0 of a job: its pages as objects, what happened to them as events, who did it as agents.

Agents are the scanner (hardware) and scanqa (software). The capture of the pages, the check before
and after, and the watch are events; the watch's outcome names what is to be scanned again.
"""

from __future__ import annotations

from lxml import etree

from scanqa.archive.elements import Part, add
from scanqa.archive.image_metadata import FORMATS
from scanqa.model.job_record import JobCheck, JobFile, JobRecord

NAMESPACE = "http://www.loc.gov/premis/v3"
XSI = "http://www.w3.org/2001/XMLSchema-instance"
SCANNER, SOFTWARE = "scanner", "scanqa"
OUTCOMES = {True: "pages to be scanned again", False: "nothing ordered"}


def premis(record: JobRecord, *, page_path: str) -> bytes:
    """The document of a job.

    Parameters
    ----------
    record : JobRecord
        The job.
    page_path : str
        Folder of the pages inside the bag.
    """
    top = etree.Element(
        etree.QName(NAMESPACE, "premis"),
        attrib={"version": "3.0"},
        nsmap={None: NAMESPACE, "xsi": XSI},  # type: ignore[dict-item]  # as lxml has it
    )
    for file in record.files:
        made = etree.SubElement(top, etree.QName(NAMESPACE, "object"))
        made.set(etree.QName(XSI, "type"), "file")
        add(made, NAMESPACE, _object(file, page_path))
    for event in _events(record):
        add(etree.SubElement(top, etree.QName(NAMESPACE, "event")), NAMESPACE, event)
    for agent in (
        _agent(SCANNER, record.scanner, "hardware", ""),
        _agent(SOFTWARE, "scanqa", "software", record.tool_version),
    ):
        add(etree.SubElement(top, etree.QName(NAMESPACE, "agent")), NAMESPACE, agent)
    text: bytes = etree.tostring(top, xml_declaration=True, encoding="UTF-8", pretty_print=True)
    return text


def _object(file: JobFile, page_path: str) -> list[Part]:
    name = FORMATS.get(file.format, "application/octet-stream")
    return [
        ("objectIdentifier", _identifier("object", "path", f"{page_path}/{file.file}")),
        (
            "objectCharacteristics",
            [
                (
                    "fixity",
                    [("messageDigestAlgorithm", "SHA-256"), ("messageDigest", file.sha256)],
                ),
                ("size", str(file.bytes)),
                ("format", [("formatDesignation", [("formatName", name)])]),
            ],
        ),
        ("originalName", file.file),
    ]


def _events(record: JobRecord) -> list[list[Part]]:
    pages = sorted(file.modified for file in record.files if file.shows == "page")
    made = []
    if pages:
        made.append(
            _event("capture", "capture", pages[0], f"pages scanned until {pages[-1]}", "", SCANNER)
        )
    checks: list[tuple[str, JobCheck | None]] = [("before", record.before), ("after", record.after)]
    made += [
        _event(
            f"check-{when}",
            "quality review",
            check.taken,
            f"scanner check {when} the job, measured {check.created}",
            check.outcome,
            SOFTWARE,
        )
        for when, check in checks
        if check is not None
    ]
    detail = "; ".join(
        f"{event.kind} {event.from_file} to {event.to_file}: {event.action}"
        for event in record.watched.events
    )
    made.append(
        _event(
            "watch",
            "quality review",
            record.created,
            detail or "every page measured, nothing found",
            OUTCOMES[bool(record.watched.redo)],
            SOFTWARE,
        )
    )
    made.append(
        _event("fixity", "message digest calculation", record.created, "SHA-256", "", SOFTWARE)
    )
    return made


def _event(name: str, kind: str, moment: str, detail: str, outcome: str, agent: str) -> list[Part]:
    return [
        ("eventIdentifier", _identifier("event", "local", name)),
        ("eventType", kind),
        ("eventDateTime", moment),
        ("eventDetailInformation", [("eventDetail", detail)]),
        ("eventOutcomeInformation", [("eventOutcome", outcome)] if outcome else []),
        ("linkingAgentIdentifier", _identifier("linkingAgent", "local", agent)),
    ]


def _agent(name: str, words: str, kind: str, version: str) -> list[Part]:
    return [
        ("agentIdentifier", _identifier("agent", "local", name)),
        ("agentName", words),
        ("agentType", kind),
        ("agentVersion", version),
    ]


def _identifier(of: str, kind: str, value: str) -> list[Part]:
    return [(f"{of}IdentifierType", kind), (f"{of}IdentifierValue", value)]
