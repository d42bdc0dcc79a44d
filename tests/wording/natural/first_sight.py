"""How often typed words that are far from what can be said are entered wrongly, and what that is worth asking about.

`python -m tests.wording.natural.first_sight [--write]`.

`first_sight.json` holds, for each list of natural phrases, what each line that was entered cost by the code that had
not seen it (`given` and `reported`: by the code that had), for each thing said, as right and as wrong. Of those past
`from: stretched` in `belief.json` a share is wrong, which is the chance of "none of these" there: printed for the lists
it is fitted on and for the others, and put into `belief.json` with `--write`.
"""

from __future__ import annotations

import argparse
import json
import math
from collections.abc import Sequence
from pathlib import Path

import journal.wording.figures
from journal.wording.figures import fitted, settings

FITTED_ON = ("given", "reported", "tuned_c", "tuned_d", "tuned_e")
REPORTED_ON = ("tuned_f", "tuned_i")
_DATA = Path(__file__).with_name("first_sight.json")


def counts(lists: Sequence[str]) -> tuple[int, int, int, int]:
    """Lines right and wrong of what is near what can be said, and right and wrong of what is far from it."""
    told = json.loads(_DATA.read_text("utf-8"))
    least = fitted()["from"]["stretched"]
    right, wrong = ([cost for name in lists for cost in told[name][verdict]] for verdict in ("right", "wrong"))
    far = [sum(cost > least for cost in costs) for costs in (right, wrong)]
    return len(right) - far[0], len(wrong) - far[1], far[0], far[1]


def weight(lists: Sequence[str]) -> float:
    """What "stretched" weighs where so large a share of the far ones is wrong."""
    _, _, right, wrong = counts(lists)
    return round(math.log(wrong / right) - fitted()["weights"]["typed"]["none"], 1)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--write", action="store_true")
    write = asked.parse_args().write
    wrong_costs, question = settings()["costs"]["entry"], settings()["costs"]["question"]
    for title, lists in (("fitted on", FITTED_ON), ("reported on", REPORTED_ON)):
        near_right, near_wrong, right, wrong = counts(lists)
        print(
            f"{title} {', '.join(lists)}: near {near_right} right, {near_wrong} wrong; far {right} right, {wrong} wrong"
        )
        print(f"  the far ones entered cost {wrong * wrong_costs:.0f}, asked about {(right + wrong) * question:.0f}")
    print(f"stretched: {weight(FITTED_ON)}")
    if write:
        place = Path(journal.wording.figures.__file__).with_name("belief.json")
        told = json.loads(place.read_text("utf-8"))
        told["weights"]["typed"]["stretched"] = weight(FITTED_ON)
        place.write_text(json.dumps(told, indent=1, sort_keys=True) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
