"""Templates in, the smallest automaton over their words out."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence as Several

from journal.hearing.types import WordGraph
from journal.wording.template import Choice, Rule, Sequence, Slot, Template, Word

_Arcs = list[list[tuple[str | None, int]]]


def minimal(
    once: Several[Template], first: Several[Template], more: Several[Template], rules: dict[str, Template]
) -> WordGraph:
    """The smallest deterministic automaton that says one of `once`, or one of `first` and any number of `more`.

    Args:
        once: templates that stand alone.
        first: templates that others may follow.
        more: templates that may follow.
        rules: what their references stand for; `lead`, where there is one, may be said before all else.
    """
    arcs: _Arcs = [[], [], []]
    begin, end, on = 0, 1, 2
    arcs[on].append((None, end))
    cache: dict[Template, WordGraph] = {}
    start = _lay(arcs, rules["lead"], begin, rules, cache) if "lead" in rules else begin
    for parts, at, after in ((once, start, end), (first, start, on), (more, on, on)):
        for part in parts:
            arcs[_lay(arcs, part, at, rules, cache)].append((None, after))
    return _smallest(arcs, begin, {end})


def _lay(arcs: _Arcs, part: Template, at: int, rules: dict[str, Template], cache: dict[Template, WordGraph]) -> int:
    match part:
        case Word(text):
            arcs.append([])
            arcs[at].append((text, len(arcs) - 1))
            return len(arcs) - 1
        case Sequence(parts):
            for inner in parts:
                at = _lay(arcs, inner, at, rules, cache)
            return at
        case Choice(options):
            arcs.append([])
            end = len(arcs) - 1
            for option in options:
                arcs[_lay(arcs, option, at, rules, cache)].append((None, end))
            return end
        case Rule(name):
            return _splice(arcs, _rule(part, rules[name], rules, cache), at)
        case Slot(name):
            raise ValueError(f"slot {name!r} has no words")


def _rule(part: Rule, body: Template, rules: dict[str, Template], cache: dict[Template, WordGraph]) -> WordGraph:
    """A rule's own smallest automaton, made once and copied wherever it is used."""
    if part not in cache:
        arcs: _Arcs = [[]]
        end = _lay(arcs, body, 0, rules, cache)
        cache[part] = _smallest(arcs, 0, {end})
    return cache[part]


def _splice(arcs: _Arcs, graph: WordGraph, at: int) -> int:
    base = len(arcs)
    for leaving in graph.arcs:
        arcs.append([(word, base + target) for word, target in leaving])
    arcs.append([])
    end = len(arcs) - 1
    arcs[at].append((None, base + graph.start))
    for state in graph.finals:
        arcs[base + state].append((None, end))
    return end


def _smallest(arcs: _Arcs, start: int, finals: set[int]) -> WordGraph:
    return _minimised(*_determined(arcs, start, finals))


def _determined(arcs: _Arcs, start: int, finals: set[int]) -> tuple[list[dict[str, int]], set[int]]:
    """Subset construction."""
    closures: dict[int, frozenset[int]] = {}

    def closure(state: int) -> frozenset[int]:
        if state not in closures:
            seen, stack = {state}, [state]
            while stack:
                for word, target in arcs[stack.pop()]:
                    if word is None and target not in seen:
                        seen.add(target)
                        stack.append(target)
            # Only states with words, or that are final, matter from here on.
            closures[state] = frozenset(s for s in seen if s in finals or any(w is not None for w, _ in arcs[s]))
        return closures[state]

    first = closure(start)
    index = {first: 0}
    table: list[dict[str, int]] = [{}]
    ends = {0} if first & finals else set()
    todo = [first]
    while todo:
        subset = todo.pop()
        moves: dict[str, set[int]] = defaultdict(set)
        for state in subset:
            for word, target in arcs[state]:
                if word is not None:
                    moves[word] |= closure(target)
        for word, reached in moves.items():
            key = frozenset(reached)
            if key not in index:
                index[key] = len(table)
                table.append({})
                todo.append(key)
                if key & finals:
                    ends.add(index[key])
            table[index[subset]][word] = index[key]
    return table, ends


def _minimised(table: list[dict[str, int]], ends: set[int]) -> WordGraph:
    """Moore's partition refinement; states that behave alike become one."""
    moved = [sorted(moves.items()) for moves in table]
    words: dict[tuple[object, ...], int] = {}
    # States with other words never behave alike, so that from there on their targets alone are compared.
    block = [
        words.setdefault((state in ends, *(word for word, _ in moves)), len(words)) for state, moves in enumerate(moved)
    ]
    targets = [[target for _, target in moves] for moves in moved]
    count = len(words)
    while True:
        keys: dict[tuple[int, ...], int] = {}
        block = [
            keys.setdefault((block[state], *map(block.__getitem__, reached)), len(keys))
            for state, reached in enumerate(targets)
        ]
        if len(keys) == count:
            break
        count = len(keys)
    arcs: list[tuple[tuple[str, int], ...]] = [()] * count
    for state, moves in enumerate(table):
        arcs[block[state]] = tuple(sorted((word, block[target]) for word, target in moves.items()))
    return WordGraph(tuple(arcs), frozenset(block[state] for state in ends), block[0])
