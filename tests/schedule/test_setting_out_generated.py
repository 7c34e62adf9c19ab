"""The setting out of the line: generated walls against a second reckoning.

The second reckoning is written here in plain floats, shares no code with the engine, takes the ground from
`numpy.interp`, and finds the fewest pieces by greedy and by trying every line there is.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import replace
from random import Random

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from plain_wall import RULES, figures_missing, ground, line, wall

from engine.schedule.ground import Ground, GroundPoint, level_mm
from engine.schedule.joints import Beds, ladder
from engine.schedule.line_limits import cells, limits
from engine.schedule.line_model import (
    Floor,
    FloorRun,
    GroundAnswer,
    Junction,
    LineRules,
    OldWork,
    Timber,
    WallLine,
)
from engine.schedule.line_result import SettingOut
from engine.schedule.setting_out import set_out

EPS_MM = 0.01
EPS_M = 1e-7


# --- The second reckoning ---------------------------------------------------------------------------------------------


class Reckoned:
    """What a wall allows, in floats. `lap_m` widens the timbers as the setting out does; 0 leaves them as they are."""

    def __init__(self, wall: WallLine, rules: LineRules, lap_m: float = 0.0) -> None:
        assert wall.ground is not None
        assert wall.length_m is not None
        self.wall, self.rules, self.lap_m, self.length_m = wall, rules, lap_m, wall.length_m
        self.places = [point.at_m for point in wall.ground.points]
        self.levels = [point.level_mm for point in wall.ground.points]
        beds = wall.beds
        self.regular = beds.kind == "regular" and beds.gauge_mm is not None and beds.joint_mm is not None
        self.gauge: float = beds.gauge_mm if self.regular else 1.0  # type: ignore[assignment]
        self.base: float = beds.joint_mm if self.regular else 0.0  # type: ignore[assignment]

    def needed(self, at_m: float) -> float:
        if not self.places:
            return -math.inf
        level = float(np.interp(at_m, self.places, self.levels))
        for answer in self.wall.answers:
            if answer.from_m <= at_m <= answer.to_m:
                if answer.how == "protect" or answer.not_below_mm is None:
                    return -math.inf
                level = min(level, answer.not_below_mm)
        return level + self.rules.clearance_above_ground_mm

    def most(self, at_m: float) -> float:
        return min(
            (
                timber.underside_mm - self.rules.below_timber_mm
                for timber in self.wall.timbers or ()
                if timber.underside_mm is not None
                and not timber.isolated
                and timber.from_m - self.lap_m - 1e-12 <= at_m <= timber.to_m + self.lap_m + 1e-12
            ),
            default=math.inf,
        )

    def wanted(self, at_m: float) -> float:
        if self.wall.height == "above_ground" and self.needed(at_m) > -math.inf:
            return self.needed(at_m)
        if self.wall.height == "below_timbers" and self.most(at_m) < math.inf:
            return self.most(at_m)
        return [run.level_mm for run in self.wall.floor.runs if run.from_m <= at_m][-1]

    def usable(self, level: float) -> bool:
        for old in self.wall.old or ():
            if old.level_mm is None:
                continue
            away = abs(level - old.level_mm)
            if away < self.rules.keep_off_old_mm - 1e-9 or (self.regular and away <= self.gauge / 2 + 1e-9):
                return False
        return True

    def first_above(self, level: float) -> float:
        rung = math.ceil((level - self.base) / self.gauge - 1e-9)
        while not self.usable(self.base + rung * self.gauge):
            rung += 1
        return self.base + rung * self.gauge

    def hard(self, at_m: float, level: float, eps_mm: float = EPS_MM) -> bool:
        """Clear of the ground and below the timbers."""
        return self.needed(at_m) - eps_mm <= level <= self.most(at_m) + eps_mm

    def near(self, at_m: float, level: float, eps_mm: float = EPS_MM) -> bool:
        """No higher than the first joint past the fall that the rules put up with."""
        asked = max(self.wanted(at_m), self.needed(at_m))
        return level <= self.first_above(asked + self.rules.fall_before_step_mm + eps_mm) + eps_mm

    def corners(self) -> list[float]:
        """Every place where a figure of the wall begins, ends or turns."""
        found = [0.0, self.length_m, *self.places, *(run.from_m for run in self.wall.floor.runs)]
        found += [end for answer in self.wall.answers for end in (answer.from_m, answer.to_m)]
        for timber in self.wall.timbers or ():
            found += [timber.from_m - self.lap_m, timber.to_m + self.lap_m, timber.from_m, timber.to_m]
        return sorted({min(max(at_m, 0.0), self.length_m) for at_m in found})

    def new_floors(self) -> set[float]:
        return {
            after.from_m
            for before, after in itertools.pairwise(self.wall.floor.runs)
            if abs(after.level_mm - before.level_mm) > self.rules.floor_step_mm
        }

    def levels_in_play(self) -> list[float]:
        marks = [run.level_mm for run in self.wall.floor.runs]
        for at_m in self.corners():
            marks += [x for x in (self.needed(at_m), self.most(at_m), self.wanted(at_m)) if math.isfinite(x)]
        low = math.floor((min(marks) - self.base) / self.gauge) - 3
        high = math.ceil((max(marks) + self.rules.fall_before_step_mm - self.base) / self.gauge) + 3
        levels = [self.base + rung * self.gauge for rung in range(low, high + 1)]
        return [level for level in levels if self.usable(level)]

    def stretches(self) -> list[tuple[float, float, frozenset[float], bool]]:
        """From, to, the levels allowed between, and whether a floor to follow begins; equal neighbours joined."""
        cuts = set(self.corners())
        corners = sorted(cuts)
        for a, b in itertools.pairwise(corners):
            ga, gb = (float(np.interp(x, self.places, self.levels)) if self.places else 0.0 for x in (a, b))
            for level in self.levels_in_play():
                for shift in (0, self.rules.fall_before_step_mm):
                    target = level - self.rules.clearance_above_ground_mm - shift
                    if min(ga, gb) < target < max(ga, gb):
                        cuts.add(a + (b - a) * (target - ga) / (gb - ga))
        found: list[tuple[float, float, frozenset[float], bool]] = []
        for a, b in itertools.pairwise(sorted(cuts)):
            if b - a < 1e-9:
                continue
            middle = (a + b) / 2
            allowed = frozenset(
                level
                for level in self.levels_in_play()
                if self.hard(middle, level, 1e-9) and self.near(middle, level, 1e-9)
            )
            new_floor = any(abs(a - place) < 1e-9 for place in self.new_floors())
            if found and not new_floor and found[-1][2] == allowed:
                found[-1] = (found[-1][0], b, allowed, found[-1][3])
            else:
                found.append((a, b, allowed, new_floor))
        return found

    def parts(self) -> Iterator[list[tuple[float, float, frozenset[float], bool]]]:
        """Yield the stretches that have to be laid by themselves, those without a level left out."""
        part: list[tuple[float, float, frozenset[float], bool]] = []
        for stretch in self.stretches():
            if part and (not stretch[2] or stretch[3]):
                yield part
                part = []
            if stretch[2]:
                part.append(stretch)
        if part:
            yield part


def fewest_by_greedy(part: list[tuple[float, float, frozenset[float], bool]]) -> int:
    pieces, common = 1, part[0][2]
    for _, _, allowed, _ in part[1:]:
        if common & allowed:
            common &= allowed
        else:
            pieces, common = pieces + 1, allowed
    return pieces


def integral(reckoned: Reckoned, from_m: float, to_m: float, level: float) -> float:
    """The distance from the level wanted, summed over a stretch in which that runs straight, mm m."""
    share = 1e-6
    ends = (from_m + share * (to_m - from_m), to_m - share * (to_m - from_m))
    return (to_m - from_m) * sum(abs(level - reckoned.wanted(at_m)) for at_m in ends) / 2


def random_wall(random: Random, *, whole: bool = False) -> WallLine:
    """A wall of any kind. `whole` keeps to whole centimetres and five millimetres, so that limits are often met."""

    def place(low: float, high: float) -> float:
        return round(random.uniform(low, high), 2 if whole else 6)

    def level(low: float, high: float) -> float:
        return 5.0 * round(random.uniform(low, high) / 5) if whole else random.uniform(low, high)

    length_m = place(0.5, 14)
    kind = random.choice(["flat", "slope", "bumps", "bumps", "steps", "none"])
    number = {"flat": 1, "slope": 2, "bumps": random.randint(3, 6), "steps": 6, "none": 0}[kind]
    places = sorted({place(-0.5, length_m + 0.5) for _ in range(number)})
    places = [at_m for before, at_m in itertools.pairwise([-99.0, *places]) if at_m - before > 0.05]
    points = [(at_m, level(-600, 150)) for at_m in places]
    if kind == "steps":
        points = [(at_m, points[index // 2 * 2][1]) for index, (at_m, _) in enumerate(points)]
    timbers = []
    for _ in range(random.choice([0, 0, 1, 2])):
        start = place(0, length_m - 0.1)
        end = random.choice([start + 0.001, start + place(0.05, 3), length_m + 0.01])
        timbers.append(Timber(start, end, level(-350, -50), random.choice(["joists", "plate"]), random.random() < 0.15))
    runs = [FloorRun(0, 0, random.choice([None, -40.0]))]
    if random.random() < 0.3:
        runs.append(FloorRun(place(0.1, length_m), level(-400, 400)))
    answers = []
    if random.random() < 0.3:
        start = place(0, length_m - 0.2)
        how = random.choice(["lower", "protect"])
        limit = random.choice([None, level(-700, -200)])
        answers.append(GroundAnswer(start, place(start + 0.1, length_m), how, limit))  # type: ignore[arg-type]
    beds = Beds("regular", random.choice([65.0, 75.0, 100.0, 300.0, level(60, 320)]), level(-100, 100))
    return WallLine(
        length_m,
        random.choice(["at_floor", "above_ground", "below_timbers"]),
        ground(*points),
        Floor(tuple(runs), random.choice([True, False, None])),
        beds,
        tuple(timbers),
        tuple(OldWork(level(-300, 200), "old holes") for _ in range(random.choice([0, 0, 1, 2]))),
        tuple(answers),
        random.choice([(), None, (Junction("start", "garden wall", 600, 0),)]),
    )


def random_rules(random: Random) -> LineRules:
    return replace(
        RULES,
        fall_before_step_mm=random.choice([50.0, 75.0, 75.0, 150.0, 400.0]),
        keep_off_old_mm=random.choice([0.0, 30.0, 90.0]),
        lap_mm=random.choice([0.0, 100.0, 250.0]),
    )


def check_every_rule(wall: WallLine, rules: LineRules, out: SettingOut) -> None:
    """Every piece keeps every rule at every place, and the pieces tile the wall."""
    reckoned, widened = Reckoned(wall, rules), Reckoned(wall, rules, rules.lap_mm / 1000)
    assert wall.length_m is not None
    assert out.pieces
    assert out.pieces[0].from_m == 0
    assert out.pieces[-1].to_m == pytest.approx(wall.length_m, abs=1e-9)
    for left, right in itertools.pairwise(out.pieces):
        assert left.to_m == right.from_m
        assert left.level_mm != right.level_mm
    corners = [at_m + side for at_m in widened.corners() for side in (-EPS_M, 0, EPS_M)]
    for piece in out.pieces:
        assert piece.from_m < piece.to_m
        assert piece.reasons
        assert 0 <= piece.row_from_m <= piece.from_m
        assert piece.to_m <= piece.row_to_m <= wall.length_m + 1e-9
        first, last = piece.from_m + EPS_M, piece.to_m - EPS_M
        places = [at_m for at_m in (*corners, *np.linspace(first, last, 15)) if first <= at_m <= last]
        if piece.level_mm is None:
            assert piece.no_joint is not None
            assert piece.joint is None
            for at_m in places:
                assert widened.first_above(widened.needed(at_m) + EPS_MM) > widened.most(at_m) - EPS_MM
            check_ways_out(wall, rules, out.pieces.index(piece), out)
            continue
        assert piece.no_joint is None
        assert reckoned.usable(piece.level_mm)
        rung = (piece.level_mm - reckoned.base) / reckoned.gauge
        assert rung == pytest.approx(round(rung), abs=1e-4)
        assert piece.joint == (round(rung) if reckoned.regular else None)
        for at_m in places:
            assert widened.hard(at_m, piece.level_mm)
            assert widened.near(at_m, piece.level_mm)
        # the laps run into nothing either
        for at_m in np.linspace(piece.row_from_m + EPS_M, piece.row_to_m - EPS_M, 9):
            assert reckoned.hard(float(at_m), piece.level_mm)
    for step in out.steps:
        assert step.reasons
        low, high = sorted((step.from_mm, step.to_mm))
        assert step.vertical.from_mm == low - rules.lap_mm
        assert high - EPS_MM <= step.vertical.to_mm <= high + rules.lap_mm
        beside = (reckoned.most(step.at_m - EPS_M), reckoned.most(step.at_m + EPS_M))
        assert step.vertical.to_mm <= max(beside) + EPS_MM  # past the end of a timber it may go up
        assert 0 <= step.lap_mm <= rules.lap_mm
    for vertical in out.verticals:
        assert 0 <= vertical.at_m <= wall.length_m + 1e-9
        assert vertical.height_mm > 0
    check_ground_works(wall, rules, out)


def check_ways_out(wall: WallLine, rules: LineRules, index: int, out: SettingOut) -> None:
    """Each way out of a stretch without a joint gives it a line when it is taken."""
    assert out.pieces is not None
    piece = out.pieces[index]
    ways = piece.no_joint
    assert ways is not None
    reckoned = Reckoned(wall, rules, rules.lap_mm / 1000)
    inside = np.linspace(piece.from_m + EPS_M, piece.to_m - EPS_M, 25)
    assert all(ways.level_mm <= reckoned.most(at_m) + EPS_MM for at_m in inside)
    lowered_by_mm = ways.lower_ground_by_mm
    if lowered_by_mm is not None:
        assert lowered_by_mm > 0
        assert all(reckoned.needed(at_m) - lowered_by_mm <= ways.level_mm + EPS_MM for at_m in inside)
    assert all(reckoned.needed(at_m) <= ways.isolated_level_mm + EPS_MM for at_m in inside)
    assert reckoned.usable(ways.level_mm)
    assert reckoned.usable(ways.isolated_level_mm)
    timbers = tuple(replace(t, isolated=t.isolated or t.what in ways.isolate) for t in wall.timbers or ())
    taken = set_out(replace(wall, timbers=timbers), rules).pieces or ()
    assert not any(p.level_mm is None and p.from_m < piece.to_m and p.to_m > piece.from_m for p in taken)
    free = all(a.to_m <= piece.from_m or a.from_m >= piece.to_m for a in wall.answers)
    assert (lowered_by_mm is not None) == free
    if free and piece.length_m > 0.002:
        answers = (*wall.answers, GroundAnswer(piece.from_m, piece.to_m, "lower"))
        taken = set_out(replace(wall, answers=answers), rules).pieces or ()
        assert not any(p.level_mm is None and p.from_m < piece.to_m and p.to_m > piece.from_m for p in taken)


def check_ground_works(wall: WallLine, rules: LineRules, out: SettingOut) -> None:
    """With the works done, every level stands clear of the ground, or the wall is protected there."""
    assert out.pieces is not None
    assert wall.ground is not None
    for piece in out.pieces:
        for at_m in np.linspace(piece.from_m + EPS_M, piece.to_m - EPS_M, 7):
            level = level_mm(wall.ground, at_m)
            if level is None or piece.level_mm is None:
                continue
            for work in out.ground_works:
                if work.how != "protect_inside" and work.from_m <= at_m <= work.to_m:
                    level = min(level, work.to_mm) if work.how == "lower" else -math.inf
            assert level + rules.clearance_above_ground_mm <= piece.level_mm + EPS_MM
    for work in out.ground_works:
        assert work.area_m2 > 0
        if work.how == "lower":
            limits_mm = [a.not_below_mm for a in wall.answers if a.how == "lower" and a.not_below_mm is not None]
            assert all(work.to_mm >= limit_mm - EPS_MM for limit_mm in limits_mm)


@pytest.mark.parametrize("seed", range(4))
def test_every_piece_keeps_every_rule_at_every_place(seed: int) -> None:
    random = Random(f"rules {seed}")
    for number in range(625):
        wall, rules = random_wall(random, whole=number % 2 == 0), random_rules(random)
        check_every_rule(wall, rules, set_out(wall, rules))


def test_every_piece_keeps_every_rule_without_joints_too() -> None:
    random = Random("no joints")
    for number in range(40):
        wall, rules = random_wall(random, whole=number % 2 == 0), random_rules(random)
        wall = replace(wall, beds=Beds("irregular", None, None))
        check_every_rule(wall, rules, set_out(wall, rules))


def changes_at_a_price(wall: WallLine, rules: LineRules, out: SettingOut) -> int:
    free = Reckoned(wall, rules).new_floors()
    return sum(all(abs(step.at_m - place) > 1e-8 for place in free) for step in out.steps)


def test_the_pieces_are_the_fewest_there_are_and_the_nearest_of_those() -> None:
    random = Random("fewest")
    tried = nearest = 0
    for number in range(500):
        wall, rules = random_wall(random, whole=number % 2 == 0), random_rules(random)
        out = set_out(wall, rules)
        reckoned = Reckoned(wall, rules, rules.lap_mm / 1000)
        parts = list(reckoned.parts())
        assert changes_at_a_price(wall, rules, out) == sum(fewest_by_greedy(part) - 1 for part in parts)
        combinations = [math.prod(len(allowed) for _, _, allowed, _ in part) for part in parts]
        if max(combinations, default=0) > 3000:
            continue
        tried += 1
        away = fewest = 0.0
        for part in parts:
            cost, best = {}, (math.inf, math.inf)
            for at, (a, b, allowed, _) in enumerate(part):
                inner = sorted({a, b, *(x for x in reckoned.corners() if a < x < b)})
                for level in allowed:
                    cost[at, level] = sum(integral(reckoned, c, d, level) for c, d in itertools.pairwise(inner))
            for levels in itertools.product(*(sorted(allowed) for _, _, allowed, _ in part)):
                changes = sum(a != b for a, b in itertools.pairwise(levels))
                if changes <= best[0]:
                    best = min(best, (changes, sum(cost[at, level] for at, level in enumerate(levels))))
            fewest, away = fewest + best[0], away + best[1]
        assert changes_at_a_price(wall, rules, out) == fewest
        assert out.pieces is not None
        ours = 0.0
        for piece in out.pieces:
            if piece.level_mm is not None:
                inner = sorted(
                    {piece.from_m, piece.to_m, *(x for x in reckoned.corners() if piece.from_m < x < piece.to_m)}
                )
                ours += sum(integral(reckoned, c, d, piece.level_mm) for c, d in itertools.pairwise(inner))
        assert ours == pytest.approx(away, rel=1e-4, abs=1e-2)
        nearest += 1
    assert tried == nearest >= 200


# --- How lines of related walls are related ---------------------------------------------------------------------------


def mirrored(wall: WallLine) -> WallLine:
    assert wall.length_m is not None
    assert wall.ground is not None
    length_m = wall.length_m
    ends_m = [run.from_m for run in wall.floor.runs[1:] if run.from_m < length_m] + [length_m]
    runs = tuple(
        replace(run, from_m=length_m - end_m)
        for run, end_m in reversed(list(zip(wall.floor.runs, ends_m, strict=False)))
    )
    return replace(
        wall,
        ground=Ground(tuple(replace(point, at_m=length_m - point.at_m) for point in reversed(wall.ground.points))),
        floor=replace(wall.floor, runs=runs),
        timbers=tuple(replace(t, from_m=length_m - t.to_m, to_m=length_m - t.from_m) for t in wall.timbers or ()),
        answers=tuple(replace(a, from_m=length_m - a.to_m, to_m=length_m - a.from_m) for a in wall.answers),
        junctions=(),
    )


def test_a_wall_seen_from_the_other_end_has_the_same_line() -> None:
    random = Random("mirror")
    for _ in range(800):
        wall, rules = replace(random_wall(random), junctions=()), random_rules(random)
        assert wall.length_m is not None
        here, there = set_out(wall, rules), set_out(mirrored(wall), rules)
        assert here.pieces is not None
        assert there.pieces is not None
        assert len(here.pieces) == len(there.pieces)
        for one, other in zip(here.pieces, reversed(there.pieces), strict=True):
            assert one.joint == other.joint
            assert one.level_mm == other.level_mm
            assert one.from_m == pytest.approx(wall.length_m - other.to_m, abs=1e-6)
            assert one.row_from_m == pytest.approx(wall.length_m - other.row_to_m, abs=1e-6)
            assert one.row_to_m == pytest.approx(wall.length_m - other.row_from_m, abs=1e-6)
        for a, b in zip(here.steps, reversed(there.steps), strict=True):
            assert (a.from_mm, a.to_mm) == (b.to_mm, b.from_mm)
            assert a.vertical.height_mm == pytest.approx(b.vertical.height_mm)


def raised(wall: WallLine, by_mm: float) -> WallLine:
    assert wall.ground is not None
    return replace(wall, ground=Ground(tuple(replace(p, level_mm=p.level_mm + by_mm) for p in wall.ground.points)))


def test_moving_everything_up_moves_the_line_as_much() -> None:
    random = Random("up")
    for _ in range(300):
        wall, rules, by_mm = random_wall(random, whole=True), random_rules(random), float(random.randint(-400, 400))
        assert wall.beds.joint_mm is not None
        lifted = replace(
            raised(wall, by_mm),
            beds=replace(wall.beds, joint_mm=wall.beds.joint_mm + by_mm),
            floor=replace(wall.floor, runs=tuple(replace(r, level_mm=r.level_mm + by_mm) for r in wall.floor.runs)),
            timbers=tuple(replace(t, underside_mm=(t.underside_mm or 0) + by_mm) for t in wall.timbers or ()),
            old=tuple(replace(o, level_mm=(o.level_mm or 0) + by_mm) for o in wall.old or ()),
            answers=tuple(
                replace(a, not_below_mm=None if a.not_below_mm is None else a.not_below_mm + by_mm)
                for a in wall.answers
            ),
        )
        here, there = set_out(wall, rules), set_out(lifted, rules)
        assert here.pieces is not None
        assert there.pieces is not None
        assert [(p.from_m, p.to_m, p.joint) for p in here.pieces] == [(p.from_m, p.to_m, p.joint) for p in there.pieces]


def test_a_ground_point_on_the_straight_between_two_changes_nothing() -> None:
    random = Random("straight")
    for _ in range(200):
        wall, rules = random_wall(random, whole=True), random_rules(random)
        assert wall.ground is not None
        points = wall.ground.points
        if len(points) < 2:
            continue
        more = sorted({*points, *(GroundPoint((a.at_m + b.at_m) / 2, (a.level_mm + b.level_mm) / 2)
                                  for a, b in itertools.pairwise(points))}, key=lambda p: p.at_m)  # fmt: skip
        here, there = set_out(wall, rules), set_out(replace(wall, ground=Ground(tuple(more))), rules)
        assert [level for *_, level in line(here)] == [level for *_, level in line(there)]
        for one, other in zip(line(here), line(there), strict=True):
            assert one[:2] == pytest.approx(other[:2], abs=1e-6)


def test_moving_the_ground_up_never_lowers_what_it_asks_for() -> None:
    # At no place does higher ground allow a lower joint, wherever it rises; and it closes no gap.
    random = Random("ground up")
    for _ in range(300):
        wall, rules = random_wall(random), random_rules(random)
        assert wall.ground is not None
        points = tuple(
            replace(p, level_mm=p.level_mm + random.choice([0, random.uniform(0, 300)])) for p in wall.ground.points
        )
        higher = replace(wall, ground=Ground(points))
        assert wall.length_m is not None
        before, after = (cells(limits(w, wall.length_m, w.ground or Ground(()), rules)) for w in (wall, higher))
        here, there = set_out(wall, rules), set_out(higher, rules)
        assert here.pieces is not None
        assert there.pieces is not None
        for at_m in np.linspace(0.0005, wall.length_m - 0.0005, 60):
            at_nm = at_m * 1e9
            one = next(cell for cell in before if cell.from_nm <= at_nm <= cell.to_nm)
            other = next(cell for cell in after if cell.from_nm <= at_nm <= cell.to_nm)
            served_one, served_other = one.lowest <= one.highest, other.lowest <= other.highest
            assert served_one or not served_other
            allowed = ladder(wall.beds, tuple(o.level_mm or 0.0 for o in wall.old or ()), rules.keep_off_old_mm)
            if served_other:
                assert allowed.level_um(one.lowest) <= allowed.level_um(other.lowest)
                assert allowed.level_um(one.highest) <= allowed.level_um(other.highest)


def test_moving_the_ground_up_never_lowers_a_level_line_nor_the_highest_piece() -> None:
    random = Random("ground up, the line")
    one_piece = stepped = 0
    for _ in range(1200):
        wall, rules = random_wall(random), random_rules(random)
        wall = replace(wall, floor=Floor((FloorRun(0, 0),), None), height=random.choice(["at_floor", "above_ground"]))
        assert wall.ground is not None
        if not wall.ground.points or wall.answers:
            continue
        points = tuple(replace(p, level_mm=p.level_mm + random.uniform(0, 120)) for p in wall.ground.points)
        here, there = set_out(wall, rules), set_out(replace(wall, ground=Ground(points)), rules)
        lows, highs = ([level for *_, level in line(out)] for out in (here, there))
        if None in lows or None in highs:
            continue
        if len(lows) == len(highs) == 1:
            one_piece += 1
            assert highs[0] is not None
            assert lows[0] is not None
            assert highs[0] >= lows[0]
        elif wall.height == "above_ground" and not wall.timbers:
            stepped += 1
            assert max(level for level in highs if level is not None) >= max(
                level for level in lows if level is not None
            )
    assert one_piece > 60
    assert stepped > 60


def test_more_ground_can_break_a_level_line_and_let_a_part_of_it_down() -> None:
    # The price of fewest pieces: one piece at 130 clears all of the ground. Raise only the far end, and the line
    # has to step; with a step anyway, the near part goes to the joint it needs, which is lower than before.
    near = wall(height="above_ground", ground=ground((0, -150), (8, -150), (10, -50)))
    assert line(set_out(near, RULES)) == [(0, 10, 130)]
    more = set_out(replace(near, ground=ground((0, -150), (8, -150), (10, 50))), RULES)
    assert [level for *_, level in line(more)] == [55, 205]


def test_ground_that_falls_no_more_than_the_rule_lets_it_gets_a_level_line() -> None:
    random = Random("level")
    stepped = 0
    for _ in range(300):
        fall_mm = random.uniform(0, 150)
        levels = [0.0, fall_mm, *(random.uniform(0, fall_mm) for _ in range(3))]
        random.shuffle(levels)
        low_mm = random.uniform(-700, 200)
        height = random.choice(["above_ground", "at_floor"])
        plain = wall(
            height=height,
            ground=ground(*((2.5 * at, low_mm + level) for at, level in enumerate(levels))),
            beds=Beds("regular", random.uniform(50, 320), random.uniform(-50, 50)),
        )
        pieces = len(line(set_out(plain, RULES)))
        assert pieces == 1 or fall_mm > RULES.fall_before_step_mm
        stepped += pieces > 1
    assert stepped > 20


@given(st.integers(0, 2**32))
@settings(deadline=None)
def test_a_wall_without_length_or_joints_never_fails(seed: int) -> None:
    random = Random(seed)
    wall, rules = random_wall(random), random_rules(random)
    assume(wall.length_m is not None)
    out = set_out(replace(wall, timbers=None, old=None, junctions=None), rules)
    assert {"timbers", "old", "junctions"} <= figures_missing(out)
    assert set_out(replace(wall, length_m=None), rules).pieces is None
    assert out == set_out(replace(wall, timbers=None, old=None, junctions=None), rules)
