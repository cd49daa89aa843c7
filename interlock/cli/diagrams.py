"""Draws every picture in the folder `diagrams` anew: `python -m interlock.cli.diagrams [FOLDER]`.

Plans and DOT texts are the same bytes on every machine.  The SVG of a DOT text depends on the program that draws it.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping
from pathlib import Path

from interlock.cli.opening import Rejected, Texts, open_hold
from interlock.cli.reading import DEMO
from interlock.cli.rendering import ADVICE, render_dot
from interlock.cli.shipped import demonstrations
from interlock.report.drawing.lifecycle import kinds_drawn, lifecycle_dot
from interlock.report.drawing.movegraph import moves_dot
from interlock.report.drawing.plan import plan_svg

INDEX = "README.md"


def texts() -> Mapping[str, str]:
    """Every generated text by file name: plans, DOT texts, and the page that shows them.

    Raises ValueError when a demonstration hold is rejected.
    """
    plans: dict[str, str] = {}
    titles: dict[str, str] = {}
    # variants in sub-folders have the floor of the hold that they modify
    for name in (name for name in demonstrations() if "/" not in name):
        opened = open_hold(DEMO + name, Texts(), None)
        if isinstance(opened, Rejected):
            raise ValueError(f"{name}: {opened.diagnostics[0].message}")
        plans[f"plan-{name}.svg"] = plan_svg(opened.compiled)
        plans[f"moves-{name}.dot"] = moves_dot(opened.compiled)
        titles[name] = opened.compiled.hold.title
    kinds = kinds_drawn()
    # a selector is declared as a switch with more positions
    heads = {"selector": "selector"}
    lives = {f"lifecycle-{name}.dot": lifecycle_dot(kind, heads.get(name)) for name, kind in kinds.items()}
    return {**plans, **lives, INDEX: _index(titles, {name: kind.about for name, kind in kinds.items()})}


def _index(titles: Mapping[str, str], abouts: Mapping[str, str]) -> str:
    lines = [
        "# Diagrams",
        "",
        "All of this is generated, by `python -m interlock.cli.diagrams`, from the demonstration holds and from the",
        "declarations of the kinds; a test fails where it is out of date.",
        "",
        "## Holds from above, and how units move in them",
        "",
    ]
    for name, title in titles.items():
        lines += [f"### {title}", "", f"![plan of {name}](plan-{name}.svg)", ""]
        lines += [f"![moves of units in {name}](moves-{name}.svg)", ""]
    lines += ["## What each kind of thing does", ""]
    for name, about in abouts.items():
        lines += [f"### {name.replace('-', ' ').capitalize()}", "", about, ""]
        lines += [f"![lifecycle: {name}](lifecycle-{name}.svg)", ""]
    return "\n".join(lines)


def main(arguments: list[str]) -> int:
    """Writes every file.  Where nothing can draw DOT texts, says so on standard error; the exit code is 1 then."""
    folder = Path(arguments[0]) if arguments else Path("diagrams")
    folder.mkdir(parents=True, exist_ok=True)
    missing = False
    for name, text in texts().items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
        drawn = render_dot(text) if name.endswith(".dot") else b""
        missing = missing or drawn is None
        if drawn:
            (folder / name).with_suffix(".svg").write_bytes(drawn)
    if missing:
        print(ADVICE, file=sys.stderr)
    return 1 if missing else 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
