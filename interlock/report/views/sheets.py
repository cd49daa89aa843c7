"""What stands on every page that somebody signs: what it is, what came out, what it was made from, what governs."""

from __future__ import annotations

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.said import joined, say
from interlock.hold.loader import Part
from interlock.report.views.identification import Identification
from interlock.report.views.tones import Tone
from interlock.report.views.wording import ended, listed

REVIEWERS = (say("Prepared"), say("Reviewed"), say("Approved"))
WORKERS = (say("Done by"), say("Checked by"))
PROVED = say("What is proved, and what that takes for granted")


@frozen
class Sheet:
    """What a page is about.

    `kind` says what sort of document, `result` what came out, `disputed` what does not fit.  `about` are labels and
    texts that say what was asked; `assumptions`, under the heading `assumed`, what is taken for granted, and `scope`
    what was not asked, or is left open.  `signers` have a line each at the end.
    """

    kind: str
    title: str
    result: str
    tone: Tone
    disputed: tuple[str, ...]
    about: tuple[tuple[str, str], ...]
    identification: Identification
    cautions: tuple[str, ...]
    assumptions: tuple[str, ...]
    scope: tuple[str, ...]
    signers: tuple[str, ...] = REVIEWERS
    assumed: str = say("What this takes for granted")

    @property
    def mark(self) -> str:
        """What stands on each sheet of paper, so that none is taken for one of another: only our words and digits."""
        first = next((one for one in self.identification.files if one.part is not Part.REQUIREMENTS), None)
        if first is None:
            return self.kind
        told = "{kind}. SHA-256 of the {part}: {digits}..."
        return say(told, kind=self.kind, part=first.part, digits=first.short)

    @property
    def signed(self) -> str:
        """What a signature is for."""
        result = ended(self.result)
        files = listed([joined([one.part, f"{one.short}..."]) for one in self.identification.files])
        if not files:
            return say("Signed is all that stands before this line. Result: {result}", result=result)
        return say(
            "Signed is all that stands before this line, made from the files whose SHA-256 begin with: {files}. "
            "Result: {result}",
            files=files,
            result=result,
        )
