"""The schematic read back: what its lines join is the circuit, its contacts stand as told, and no name is covered."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import combinations, pairwise, product
from math import hypot
from typing import Any

import pytest
from hypothesis import given, settings

from tapplan.network.circuit import Circuit, Position, circuit_of
from tapplan.pictures.letters import letters
from tapplan.pictures.schematic import schematic
from tapplan.pictures.style import RULES, inside, svg
from tests.bench.stages import table
from tests.examples import SHIPPED, TAPPED, add_in, chain, design, pair, two_sided_ladder, wirings

SVG = "{http://www.w3.org/2000/svg}"
CASES = {
    **{path.stem: (lambda path=path: table(path).circuit) for path in SHIPPED},
    **{f"chain of {n}": (lambda n=n: circuit_of(chain(n))) for n in (4, 8, 12)},
    "chain at the line": lambda: circuit_of(chain(8, side="LINE")),
    **{f"add-in of {n}": (lambda n=n: circuit_of(add_in(n))) for n in (4, 6, 8, 12)},
    **{f"two chains of {n}": (lambda n=n: circuit_of(two_sided_ladder(n))) for n in (2, 4, 6)},
}


def double() -> Circuit:
    """One relay of three poles that stand in different columns, and a chain behind it."""
    poles = [("LINE", "A", "C"), ("OUT", "X", "C"), ("Y", "A", "B")]
    return circuit_of(design(TAPPED, {"KD": poles, "KX": ("X", "B", "Y")}))


CASES["poles apart"] = double


@dataclass(frozen=True)
class Piece:
    """A straight piece of something drawn, with the group it is in and its class."""

    x: float
    y: float
    to_x: float
    to_y: float
    kind: str = ""
    group: str = ""

    def far(self, x: float, y: float) -> float:
        """How far a place is from it."""
        dx, dy = self.to_x - self.x, self.to_y - self.y
        along = ((x - self.x) * dx + (y - self.y) * dy) / ((dx * dx + dy * dy) or 1)
        along = min(max(along, 0), 1)
        return hypot(x - self.x - along * dx, y - self.y - along * dy)

    def apart(self, other: Piece) -> float:
        """How far another piece is from it, nothing where they cross."""

        def side(one: Piece, x: float, y: float) -> float:
            return (one.to_x - one.x) * (y - one.y) - (one.to_y - one.y) * (x - one.x)

        if (
            side(self, other.x, other.y) * side(self, other.to_x, other.to_y) < 0
            and side(other, self.x, self.y) * side(other, self.to_x, self.to_y) < 0
        ):
            return 0.0
        ends = [self.far(other.x, other.y), self.far(other.to_x, other.to_y)]
        return min(*ends, other.far(self.x, self.y), other.far(self.to_x, self.to_y))


def drawn(circuit: Circuit, energised: tuple[str, ...] = ()) -> ElementTree.Element:
    return ElementTree.fromstring(svg(schematic(circuit, circuit.state(energised)), "schematic"))  # noqa: S314


def pieces(root: ElementTree.Element) -> Iterator[Piece]:
    """Every straight piece but the hidden crosses; arcs as the chord from end to end."""
    for group, one in grouped(root, ""):
        kind = one.get("class") or ""
        if one.tag == f"{SVG}path" and kind != "gone":
            places = corners(one)
            for (x, y), (to_x, to_y) in pairwise(places):
                yield Piece(x, y, to_x, to_y, kind, group)


def corners(path: ElementTree.Element) -> list[tuple[float, float]]:
    steps = re.findall(r"[MLA][^MLA]*", path.get("d") or "")
    return [(float(step[-2]), float(step[-1])) for step in (re.findall(r"-?[\d.]+", one) for one in steps)]


def grouped(one: ElementTree.Element, group: str) -> Iterator[tuple[str, ElementTree.Element]]:
    for child in one:
        inner = (child.get("id") or group) if child.tag == f"{SVG}g" else group
        yield group, child
        yield from grouped(child, inner)


def texts(root: ElementTree.Element) -> list[tuple[str, ElementTree.Element]]:
    return [(group, one) for group, one in grouped(root, "") if one.tag == f"{SVG}text"]


def covered(one: ElementTree.Element) -> tuple[float, float, float, float]:
    """What a text covers, from its letters' widths and heights."""
    kind = next(name for name in ("terminal-name", "coil-name", "small", "faint") if name in (one.get("class") or ""))
    wide = letters(kind).wide(one.text or "")
    size = letters(kind).size
    assert size >= 11
    left = float(one.get("x") or 0) - wide * {"end": 1, "middle": 0.5}.get(one.get("text-anchor") or "", 0)
    baseline = float(one.get("y") or 0)
    return left, baseline - 0.74 * size, left + wide, baseline + 0.2 * size


# What is joined to what


def sets_joined(some: list[Piece], anyway: Callable[[Piece, Piece], bool]) -> list[int]:
    """For each piece the number of the set it lies in: an end lies on another, or two belong together anyway."""
    joined = list(range(len(some)))
    for (n, one), (m, two) in combinations(enumerate(some), 2):
        ends = [
            one.far(two.x, two.y),
            one.far(two.to_x, two.to_y),
            two.far(one.x, one.y),
            two.far(one.to_x, one.to_y),
        ]
        if (min(ends) < 0.01 or anyway(one, two)) and joined[n] != joined[m]:
            old, new = joined[n], joined[m]
            joined = [new if here == old else here for here in joined]
    return joined


def read_back(root: ElementTree.Element) -> dict[str, int]:
    """For every end of a contact, a winding and for every terminal the number of the joined set it lies in.

    Only places count, no name of a net: pieces are joined where an end of one lies on another, or a dot on both.
    """
    found = list(pieces(root))
    wires = [one for one in found if one.kind == "wire" and one.group.startswith("net-")]
    places: dict[str, tuple[float, float]] = {}
    for _, one in grouped(root, ""):
        name, kind = one.get("id") or "", one.get("class") or ""
        if kind.startswith("pole "):
            com = next(line for line in one if (line.get("class") or "") == "wire com")
            for contact in one:
                if (contact.get("id") or "").startswith("contact-"):
                    lead = next(part for part in contact if part.get("class") == "wire")
                    places[f"{contact.get('id')} end"] = corners(lead)[0]
                    places[f"{contact.get('id')} com"] = corners(com)[0]
        elif name.startswith("section-"):
            coil = next(part for part in one if part.get("class") == "coil")
            dot = next(float(part.get("cy") or 0) for part in one if part.get("class") == "dot")
            first, last = corners(coil)[0], corners(coil)[-1]
            finish = first if abs(dot - first[1]) < abs(dot - last[1]) else last
            places[f"{name} finish"], places[f"{name} start"] = finish, last if finish == first else first
        elif kind == "terminal":
            ring = next(part for part in one if part.get("class") == "ring")
            label = next(part for part in one if part.get("class") == "terminal-name")
            side = label.get("text-anchor") or ""
            places[f"{label.text} {side}"] = float(ring.get("cx") or 0), float(ring.get("cy") or 0)
    spots = [Piece(x, y, x, y) for x, y in places.values()]
    dots = [
        Piece(x, y, x, y)
        for group, one in grouped(root, "")
        if one.get("class") == "dot" and group.startswith("net-")
        for x, y in [(float(one.get("cx") or 0), float(one.get("cy") or 0))]
    ]
    joined = sets_joined([*wires, *spots, *dots], lambda one, two: False)
    return {name: joined[len(wires) + n] for n, name in enumerate(places)}


def expected(circuit: Circuit) -> dict[str, int]:
    found = {}
    for n, contact in enumerate(circuit.contacts):
        found[f"contact-{n} end"], found[f"contact-{n} com"] = contact.end, contact.com
    for n, section in enumerate(circuit.sections):
        found[f"section-{n} start"], found[f"section-{n} finish"] = section.start, section.finish
    for point, side in product((circuit.line, circuit.neutral), ("start",)):
        found[f"{circuit.points[point]} {side}"] = point
    for point, side in product((circuit.output, circuit.neutral), ("end",)):
        found[f"{circuit.points[point]} {side}"] = point
    return found


def same_parts(one: dict[str, int], two: dict[str, int]) -> bool:
    """Whether two numberings join the same names."""
    assert one.keys() == two.keys()
    pairs = {(one[name], two[name]) for name in one}
    return len(pairs) == len({a for a, _ in pairs}) == len({b for _, b in pairs})


@pytest.mark.parametrize("case", CASES)
def test_the_drawing_read_back_joins_what_the_circuit_joins(case: str) -> None:
    circuit = CASES[case]()
    assert same_parts(read_back(drawn(circuit)), expected(circuit))


@given(wirings(relays_max=6))
@settings(max_examples=25, deadline=None)
def test_any_wiring_read_back_is_the_circuit(made: Any) -> None:
    circuit = circuit_of(made)
    assert same_parts(read_back(drawn(circuit)), expected(circuit))


def test_a_wire_laid_wrong_is_seen() -> None:
    circuit = circuit_of(pair())
    first, second = circuit.contacts[0], circuit.contacts[2]
    assert first.com != second.com
    swapped = (replace(first, com=second.com), *circuit.contacts[1:])
    assert not same_parts(read_back(drawn(circuit)), expected(replace(circuit, contacts=swapped)))


@pytest.mark.parametrize("case", CASES)
def test_a_dot_stands_just_where_a_net_branches(case: str) -> None:
    """Three pieces or more that meet have a dot; where wires of two nets cross there is none, nor an end."""
    root = drawn(CASES[case]())
    dots = {
        (group, float(one.get("cx") or 0), float(one.get("cy") or 0))
        for group, one in grouped(root, "")
        if one.get("class") == "dot" and group.startswith("net-")
    }
    wires = [one for one in pieces(root) if one.kind == "wire" and one.group.startswith("net-")]
    coils = [one for one in pieces(root) if one.kind == "coil"]
    branches = set()
    for group, x, y in {(one.group, *end) for one in wires for end in ((one.x, one.y), (one.to_x, one.to_y))}:
        arms = sum(
            1 if (x, y) in ((one.x, one.y), (one.to_x, one.to_y)) else 2
            for one in wires
            if one.group == group and one.far(x, y) < 0.01
        )
        arms += sum((x, y) in ((one.x, one.y), (one.to_x, one.to_y)) for one in coils)
        if arms > 2:
            branches.add((group, x, y))
    for one, two in combinations(wires, 2):
        if one.group != two.group and one.apart(two) < 5:
            assert one.apart(two) == 0.0
            for x, y in ((one.x, one.y), (one.to_x, one.to_y)):
                assert two.far(x, y) >= 5
    assert branches <= dots
    crossings = {(group, x, y) for group, x, y in dots - branches}
    assert all(any(one.group == g and one.far(x, y) < 0.01 for one in wires) for g, x, y in crossings)


# How contacts, coils and windings are drawn


def arms(pole: ElementTree.Element, name: str) -> Piece:
    blade = next(one for one in pole if one.get("class") == f"blade {name}")
    line = next(one for one in blade if one.get("class") == "arm")
    return Piece(*corners(line)[0], *corners(line)[1])


def leads(pole: ElementTree.Element, throw: str) -> list[Piece]:
    for one in pole:
        if f"contact {throw} " in (one.get("class") or ""):
            places = corners(next(part for part in one if part.get("class") == "wire"))
            return [Piece(*a, *b) for a, b in pairwise(places)]
    return []


def poles(root: ElementTree.Element) -> list[ElementTree.Element]:
    return [one for _, one in grouped(root, "") if (one.get("class") or "").startswith("pole ")]


def single() -> Circuit:
    """A stage whose first relay only makes and whose second only breaks."""
    made = design(
        (("base", "N", "A", 200), ("one", "A", "B", 27)), {"KM": ("LINE", None, "A"), "KB": ("OUT", "B", None)}
    )
    return circuit_of(made)


@pytest.mark.parametrize("case", [*CASES, "make and break"])
def test_a_break_contact_touches_at_rest_and_a_make_contact_when_driven(case: str) -> None:
    root = drawn(single() if case == "make and break" else CASES[case]())
    assert poles(root)
    for pole, (blade, touched) in product(poles(root), {"rest": "nc", "driven": "no", "flight": ""}.items()):
        arm = arms(pole, blade)
        for throw in ("nc", "no"):
            far = min((lead.apart(arm) for lead in leads(pole, throw)), default=None)
            assert far is None or (far < 0.6 if throw == touched else far > 5), (pole.get("id"), blade, throw)
        com = next(one for one in pole if one.get("class") == "wire com")
        assert (arm.x, arm.y) == corners(com)[1]


def test_each_standing_of_a_pole_shows_its_blades() -> None:
    shown = {}
    for selectors in re.findall(r"^(.*) \{ visibility: visible \}$", RULES, re.MULTILINE):
        for standing, blade in re.findall(r"\.([\w-]+) \.(rest|driven|flight)\b", selectors):
            shown.setdefault(standing, set()).add(blade)
    assert shown == {
        "at-rest": {"rest"},
        "is-driven": {"driven"},
        "in-flight": {"flight"},
        "bridged": {"rest", "driven"},
    }
    assert ".blade { visibility: hidden }" in RULES


@pytest.mark.parametrize(
    ("position", "named"),
    [
        (Position.REST, "at-rest"),
        (Position.DRIVEN, "is-driven"),
        (Position.FLIGHT, "in-flight"),
        (Position.BRIDGED, "bridged"),
    ],
)
def test_a_pole_is_called_as_it_stands(position: Position, named: str) -> None:
    circuit = circuit_of(pair())
    drawing = schematic(circuit, circuit.closed({0: position}))
    root = ElementTree.fromstring(svg(drawing, "one"))  # noqa: S314
    groups = {one.get("id"): one.get("class") for _, one in grouped(root, "") if one.get("id")}
    assert groups["pole-0"] == f"pole {named}"
    assert groups["pole-1"] == "pole at-rest"
    assert groups["coil-0"] == ("relay driven" if position is Position.DRIVEN else "relay")
    assert groups["coil-1"] == "relay"


@pytest.mark.parametrize("case", CASES)
def test_every_part_is_drawn_once_by_its_number(case: str) -> None:
    circuit = CASES[case]()
    for energised in ((), circuit.relays):
        closed = circuit.state(energised)
        root = drawn(circuit, energised)
        named = [one.get("id") for _, one in grouped(root, "") if one.get("id")]
        assert len(named) == len(set(named))
        pole_count = len({(one.relay, one.pole) for one in circuit.contacts})
        for kind, count in (
            ("net", len(circuit.points)),
            ("section", len(circuit.sections)),
            ("contact", len(circuit.contacts)),
            ("pole", pole_count),
            ("coil", len(circuit.relays)),
        ):
            assert {one for one in named if one.startswith(kind)} == {f"{kind}-{n}" for n in range(count)}
        groups = {one.get("id"): (one.get("class") or "").split() for _, one in grouped(root, "")}
        for n, contact in enumerate(circuit.contacts):
            assert groups[f"contact-{n}"] == ["contact", contact.throw, "closed" if n in closed else "open"]


@pytest.mark.parametrize("case", CASES)
def test_the_linkage_joins_a_coil_to_the_blades_of_all_its_poles(case: str) -> None:
    """Dashed pieces that touch form one line from the coil's edge to every blade of the relay, and to no other."""
    circuit = CASES[case]()
    root = drawn(circuit)
    dashes = [one for one in pieces(root) if one.kind == "link"]
    joined = sets_joined(dashes, lambda one, two: one.group == two.group != "")
    relay_of = {(one.relay, one.pole): one.relay for one in circuit.contacts}
    relays = list(relay_of.values())
    sets: dict[int, set[int]] = {}
    for n, one in enumerate(dashes):
        if one.group.startswith("pole-"):
            sets.setdefault(joined[n], set()).add(relays[int(one.group.removeprefix("pole-"))])
    assert sorted(one.pop() for one in sets.values() if len(one) == 1) == list(range(len(circuit.relays)))
    for _, coil in grouped(root, ""):
        if (coil.get("id") or "").startswith("coil-"):
            body = next(one for one in coil if one.get("class") == "body")
            x = float(body.get("x") or 0) + float(body.get("width") or 0) / 2
            edges = [float(body.get("y") or 0), float(body.get("y") or 0) + float(body.get("height") or 0)]
            met = {
                relays[int(one.group.removeprefix("pole-"))]
                for one in dashes
                for edge in edges
                if one.far(x, edge) < 0.01 and one.group
            }
            assert met == {int((coil.get("id") or "").removeprefix("coil-"))}


@pytest.mark.parametrize("case", CASES)
def test_every_part_can_be_crossed_out_on_itself(case: str) -> None:
    """A hidden cross is a child of each part, and lies on its wires, loops, lead, blade or linkage."""
    root = drawn(CASES[case]())
    parts = [one for _, one in grouped(root, "") if one.tag == f"{SVG}g" and one.get("id")]
    assert len(parts) >= 10
    everything = list(pieces(root))
    for one in parts:
        (cross,) = [part for part in one if part.get("class") == "gone"]
        places = corners(cross)
        x, y = sum(place[0] for place in places) / 4, sum(place[1] for place in places) / 4
        own = [piece for piece in everything if piece.group == one.get("id")]
        kind = (one.get("id") or "").partition("-")[0]
        other = {"coil": "link", "pole": "arm"}.get(kind, "" if own else "coil")
        near = [piece for piece in everything if piece.kind == other] if other else own
        assert min(piece.far(x, y) for piece in near) < 14, one.get("id")


def test_what_a_class_shows_is_more_than_a_colour() -> None:
    def width(selector: str) -> float:
        (found,) = re.findall(rf"^{re.escape(selector)} {{[^}}]*stroke-width: ([\d.]+)", RULES, re.MULTILINE)
        return float(found)

    assert width(".live .wire, .live .coil") > 2 * width(".wire")
    assert width(".fed .core") > 1.5 * width(".core")
    assert width(".nc.live ~ .rest .arm, .no.live ~ .driven .arm") > 1.5 * width(".arm")
    assert re.search(r"^\.relay \.outline {.*visibility: hidden", RULES, re.MULTILINE)
    assert ".relay.driven .outline { visibility: visible }" in RULES
    assert re.search(r"^\.gone {.*visibility: hidden", RULES, re.MULTILINE)
    assert ".lost > .gone { visibility: visible }" in RULES


def test_turns_and_names_stand_beside_the_windings() -> None:
    circuit = table(next(path for path in SHIPPED if path.stem == "ridge-dispensary")).circuit
    told = {}
    for group, one in texts(drawn(circuit)):
        told.setdefault(group, []).append(one.text)
    assert told["section-0"] == ["main", "469 turns"]
    assert told["section-2"] == ["rise 2", "69 turns"]
    assert told["coil-0"] == ["KL"]
    assert told[f"net-{circuit.line}"] == ["LINE"]


# Nothing covers anything


@pytest.mark.parametrize("case", CASES)
def test_no_name_lies_on_another_or_on_a_line(case: str) -> None:
    circuit = CASES[case]()
    root = drawn(circuit)
    named = [(group, one.text, covered(one)) for group, one in texts(root)]
    wide, high = float(root.get("width") or 0), float(root.get("height") or 0)
    for (_, one, a), (_, two, b) in combinations(named, 2):
        assert not (a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]), (one, two)
    lines = [one for one in pieces(root) if one.kind != "lead"]
    for _, text, (left, top, right, bottom) in named:
        assert left >= 0
        assert top >= 0
        assert right <= wide
        assert bottom <= high
        for one in lines:
            low_x, high_x = sorted((one.x, one.to_x))
            low_y, high_y = sorted((one.y, one.to_y))
            if one.kind == "arm":
                edges = [(left, top, right, top), (left, bottom, right, bottom)]
                assert all(one.apart(Piece(*edge)) > 0 for edge in edges), (text, one)
            else:
                assert not (low_x < right and left < high_x + 0.01 and low_y < bottom and top < high_y + 0.01), (
                    text,
                    one,
                )


@pytest.mark.parametrize("case", CASES)
def test_every_point_relay_and_winding_is_named_and_the_full_name_is_kept(case: str) -> None:
    circuit = CASES[case]()
    root = drawn(circuit)
    told = {group: [one.text for name, one in texts(root) if name == group] for group, _ in texts(root)}
    titles = {one.text for one in root.iter(f"{SVG}title")}
    for n, point in enumerate(circuit.points):
        assert told.get(f"net-{n}"), point
        assert point in titles
    assert set(circuit.relays) <= titles
    for n, section in enumerate(circuit.sections):
        assert told[f"section-{n}"][0] == section.name
        assert any((one or "").startswith(f"{section.name}: ") for one in titles)


@pytest.mark.parametrize("case", CASES)
def test_it_stays_on_one_sheet(case: str) -> None:
    drawing = schematic(CASES[case](), frozenset())
    assert drawing.width <= 1150
    assert drawing.height <= 700


def test_long_names_are_cut_and_kept_whole_in_their_titles() -> None:
    circuit = circuit_of(pair())
    long = " of the northern feeder, second bay"
    circuit = replace(
        circuit,
        points=tuple(one + long for one in circuit.points),
        relays=tuple(one + long for one in circuit.relays),
        sections=tuple(replace(one, name=one.name + long) for one in circuit.sections),
    )
    root = drawn(circuit)
    titles = {one.text for one in root.iter(f"{SVG}title")}
    assert {*circuit.points, *circuit.relays} <= titles
    for _, one in texts(root):
        left, _, right, _ = covered(one)
        assert right - left < 100
    assert sum("\u2026" in (one.text or "") for _, one in texts(root)) >= 10


def test_hostile_names_stay_text() -> None:
    circuit = table(SHIPPED[0]).circuit
    evil = "<script>x</script>\"'&"
    circuit = replace(circuit, points=tuple(f"{one}{evil}" for one in circuit.points))
    text = svg(schematic(circuit, frozenset()), evil)
    assert not list(ElementTree.fromstring(text).iter(f"{SVG}script"))  # noqa: S314
    assert evil not in inside(schematic(circuit, frozenset()), evil, "s")
