"""A job, its findings and the journal's folder in; the bytes of its write-up in the form asked for out."""

from __future__ import annotations

import io
import json
from collections.abc import Sequence
from pathlib import Path

from PIL import Image

from journal.analysis.findings import Findings
from journal.analysis.findings_json import findings_to_json
from journal.errors import BadInput, JournalError
from journal.facts import PhotoMark
from journal.output.charts import charts_of
from journal.output.marks import with_marks
from journal.output.plain import escaped
from journal.output.writeup import WriteUp, write_up
from journal.record.job import Job
from journal.record.photos import page_copy_path

FORMS = ("txt", "html", "pdf", "json")
"""What a write-up can be had as."""


def render(
    job: Job,
    findings: Findings,
    form: str,
    folder: Path,
    *,
    reference: str = "",
    paper: str = "A4",
    written_by: Sequence[str] = (),
) -> bytes:
    """The write-up as text, self-contained HTML, PDF or JSON; photos come from the journal's folder.

    A photo whose file is missing or damaged leaves a sentence in its place; the rest is as ever. `reference` and
    `written_by` are as `write_up` takes them.

    Raises:
        BadInput: for a form that is not one of `FORMS`.
    """
    write = write_up(job, findings, written_by, reference=reference)
    charts = charts_of(job, findings)

    marks = {p.photo.body.sha256: [fact.body for fact in p.marks] for p in job.pictures}

    def photo(sha256: str) -> bytes | None:
        return picture_with(folder, sha256, marks.get(sha256, ()))

    if form == "txt":
        from journal.output.writeup_text import as_text

        return as_text(write).encode("utf-8")
    if form == "json":
        return as_json(job, write, findings, written_by).encode("utf-8")
    if form == "html":
        from journal.output.writeup_html import as_html

        return as_html(write, charts, photo).encode("utf-8")
    if form == "pdf":
        from journal.output.writeup_pdf import as_pdf

        return as_pdf(write, charts, photo, paper=paper)
    raise BadInput(f"{form!r}: a write-up can be had as {', '.join(FORMS)}")


def picture_with(folder: Path, sha256: str, marks: Sequence[PhotoMark]) -> bytes | None:
    """A photo's page copy with what is drawn on it; none when it cannot be had or is no picture."""
    try:
        data = page_copy_path(folder, sha256).read_bytes()
        with Image.open(io.BytesIO(data), formats=["JPEG"]):
            return with_marks(data, marks)
    except (JournalError, OSError):  # Pillow's refusals are OSErrors
        return None


def as_json(job: Job, write: WriteUp, findings: Findings, written_by: Sequence[str] = ()) -> str:
    """The write-up and the findings it rests on, as JSON text."""
    plain = {
        "job": job.id,
        "sheet": write.sheet,
        "unit": write.title,
        "facts": dict(write.facts),
        "complaint": write.complaint,
        "cause": write.cause,
        "correction": write.correction,
        "photos": [{"sha256": sha256, "caption": caption} for sha256, caption in write.photos],
        "written_by": list(written_by),
        "findings": findings_to_json(findings),
    }
    return escaped(json.dumps(plain, indent=2, ensure_ascii=False)) + "\n"
