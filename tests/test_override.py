"""Overrides by a reviewer: held in a record, beside the engine's decision, which stays."""

import datetime as dt
import json
import re

from engine.decision.assess import LIMITS
from engine.record.build import overrides_digest, text_of
from engine.record.overrides import override_digest
from engine.record.read import parse_record
from engine.rulebase.load import load_rule_base
from tests import records
from tests.records import (
    BASE,
    edited,
    overridden,
    recorded,
    run,
    verified,
)

here, others = records.here, records.others


def by_hand(path, **override):
    """An override added as the program adds one, on a day that is long past."""
    data = json.loads(path.read_text())
    made = {"wall": "parlour-back", "change": "is", "who": "A. Viewer", "why": "It is so.", "until": None, **override}
    made["digest"] = override_digest(made, data, data["overrides"][-1] if data["overrides"] else None)
    data["overrides"].append(made)
    data["digests"]["overrides"] = overrides_digest(data["overrides"])
    path.write_text(text_of(data))


def _options(choice):
    return [option.id for option in BASE.choices[choice].options]


def test_an_override_stands_beside_the_decision(capsys, here):
    before = recorded(capsys).read_text()
    code, out, _ = overridden(capsys, "--to", "medium=rods", "--until", "2999-12-31")
    assert code == 0
    after = (here / "r.json").read_text()
    assert '"overrides":[]' in before
    start = before.index('"overrides":[]')
    end = len(before) - start - len('"overrides":[]')
    of_overrides = re.compile(
        '"digests":{"decision":"[0-9a-f]{64}","facts":"[0-9a-f]{64}","overrides":"([0-9a-f]{64})"'
    )
    one, other = of_overrides.search(before), of_overrides.search(after)
    assert one[1] != other[1]
    assert after[:start].replace(other[1], one[1]) == before[:start]
    assert after[-end:] == before[-end:]
    said = " ".join(out.split())
    assert "the reviewer's, not the engine's: A. Viewer" in said
    assert "the engine advises cream" in said
    assert "ruled this option out by M-005" in said
    assert "breathing protection" in said
    assert LIMITS in said
    assert max(map(len, out.splitlines())) <= 80
    (record,) = verified(capsys, "r.json")
    (seen,) = record.overrides
    assert (seen.state, seen.override.to, seen.override.until) == ("counts", "rods", dt.date(2999, 12, 31))
    assert record.same
    assert {item.id for item in seen.cautions} <= {
        item["id"]
        for held in json.loads(after)["decision"]["walls"][0]["sets"]
        if held["set"] == "cautions"
        for item in held["items"]
    }
    assert "the reviewer's, not the engine's" in " ".join(run(capsys, "verify", "r.json")[1].split())


def test_the_later_override_of_the_same_counts_and_both_stay(capsys, here):
    recorded(capsys)
    assert overridden(capsys, "--to", "medium=rods")[0] == 0
    assert overridden(capsys, "--to", "medium=mortar")[0] == 0
    assert overridden(capsys, "--to", "verdict=investigate")[0] == 0
    (record,) = verified(capsys, "r.json")
    assert [seen.state for seen in record.overrides] == ["replaced", "counts", "counts"]
    code, out, _ = overridden(capsys, "--to", "medium=cream")
    assert code == 0
    assert "goes back to what the engine decided" in out
    (record,) = verified(capsys, "r.json")
    assert [seen.state for seen in record.overrides] == ["replaced", "replaced", "counts", "went_back"]
    assert record.overrides[0].override.to == "rods"


def test_members_are_added_and_taken_away(capsys, here):
    data = json.loads(recorded(capsys).read_text())
    works = [
        item["id"] for held in data["decision"]["walls"][0]["sets"] if held["set"] == "works" for item in held["items"]
    ]
    absent = next(each for each in BASE.members["works"] if each not in works)
    assert overridden(capsys, "--to", f"works=+{absent}")[0] == 0
    code, out, _ = overridden(capsys, "--to", f"works=-{works[0]}")
    assert code == 0
    assert f"works: without {works[0]}" in out
    (record,) = verified(capsys, "r.json")
    assert [(seen.override.change, seen.state) for seen in record.overrides] == [
        ("add", "counts"),
        ("remove", "counts"),
    ]
    assert "an override would change nothing" in overridden(capsys, "--to", f"works=+{works[1]}")[2]


def test_no_override_takes_a_caution_away(capsys, here):
    data = json.loads(recorded(capsys).read_text())
    held = next(each for each in data["decision"]["walls"][0]["sets"] if each["set"] == "cautions")["items"][0]["id"]
    code, out, err = overridden(capsys, "--to", f"cautions=-{held}")
    assert (code, out) == (2, "")
    assert "which no override may" in err


def test_an_override_that_treats_brings_the_cautions_of_treating(capsys, here):
    """The rules are run with the reviewer's option: what they then warn of is shown, which the record has not."""
    recorded(capsys, "r.json", "--set", "evidence.leaks=unknown")
    stored = parse_record((here / "r.json").read_bytes(), "r.json")
    verdict = stored.record.decision.walls[0].choice("verdict").option
    assert verdict != "treat"
    code, out, _ = overridden(capsys, "--to", "verdict=treat")
    assert code == 0
    (record,) = verified(capsys, "r.json")
    (seen,) = record.overrides
    held = {item.id for item in stored.record.decision.walls[0].found("cautions").items}
    added = {item.id for item in seen.cautions_added}
    assert "silica_dust" in added
    assert not added & held
    assert "`new` are those that the rules add" in " ".join(out.split())


def test_what_an_override_names_must_be_there(capsys, here):
    before = recorded(capsys).read_bytes()
    for to, said in (
        ("medium=rodz", "did you mean rods?"),
        ("medum=rods", "did you mean medium?"),
        ("medium", "is not CHOICE=OPTION"),
        ("works=repoint_base", "+repoint_base or -repoint_base"),
        ("works=+repoint_bas", "did you mean repoint_base"),
        ("medium=cream", "an override would change nothing"),
        ("medium=undecided", "no such option of medium"),
    ):
        code, out, err = overridden(capsys, "--to", to)
        assert (code, out) == (2, "")
        assert said in err
    code, _, err = overridden(
        capsys, "--to", "medium=rods", "--until", "2020-01-01", wall="parlour", who=" ", why="a\x1b[1m"
    )
    assert code == 2
    assert "did you mean parlour-back?" in err
    for said in ("--who: is empty", "--why: holds characters", "--until: is past"):
        assert said in err
    err = overridden(capsys, "--to", "medium=rodz", why="")[2]
    assert "did you mean rods?" in err
    assert "--why: is empty" in err
    assert overridden(capsys, "--to", "medium=rods", "--until", "soon")[0] == 2
    assert overridden(capsys, "--to", "medium=rods", record="none.json")[0] == 2
    assert (here / "r.json").read_bytes() == before
    edited(here / "r.json", lambda data: data.update(survey="other"), to="r.json")
    assert "was altered after it was written" in overridden(capsys, "--to", "medium=rods")[2]


def test_a_link_to_a_record_stays_a_link(capsys, here):
    recorded(capsys)
    (here / "link.json").symlink_to("r.json")
    assert overridden(capsys, "--to", "medium=rods", record="link.json")[0] == 0
    assert (here / "link.json").is_symlink()
    assert len(json.loads((here / "r.json").read_text())["overrides"]) == 1


def test_overrides_that_need_attention(capsys, here, others):
    path = recorded(capsys)
    by_hand(path, subject="medium", to="rods", on="2026-10-01", until="2026-10-20")
    (record,) = verified(capsys, "r.json")
    assert (record.same, record.attention, record.overrides[0].state) == (True, True, "expired")
    code, out, _ = run(capsys, "verify", "r.json")
    assert code == 1
    assert "it has expired; the engine's decision counts again" in " ".join(out.split())
    (record,) = verified(capsys, "r.json", "--as-of", "2026-10-20")
    assert record.overrides[0].state == "counts"
    by_hand(path, subject="medium", to="honey", on="2026-10-02")
    by_hand(path, subject="works", change="add", to="sing", on="2026-10-02")
    (record,) = verified(capsys, "r.json")
    assert [seen.state for seen in record.overrides] == ["replaced", "not_in_rules", "not_in_rules"]


def test_an_override_the_engine_agrees_with_by_now_needs_attention(capsys, here, others):
    recorded(capsys)
    others("rules_out: {medium: [rods]}", "rules_out: {medium: [cream, rods]}")
    (record,) = verified(capsys, "r.json")
    now = next(each for each in record.drift[0].choices if each.choice == "medium").now.option
    assert now in _options("medium")
    load_rule_base.cache_clear()
    assert overridden(capsys, "--to", f"medium={now}")[0] == 0
    (record,) = verified(capsys, "r.json")
    assert record.overrides[0].state == "changes_nothing"
    assert "it changes nothing any more" in " ".join(run(capsys, "verify", "r.json")[1].split())


def test_an_override_that_was_edited_or_moved_is_noticed(capsys, here):
    path = recorded(capsys)
    overridden(capsys, "--to", "medium=rods")
    overridden(capsys, "--to", "verdict=investigate")
    for change in (
        lambda data: data["overrides"][0].update(why="Because."),
        lambda data: data["overrides"].reverse(),
        lambda data: data["overrides"].pop(0),
        lambda data: data["overrides"].pop(),
        lambda data: data["overrides"].clear(),
        lambda data: data["overrides"][0].update(until="2999-01-01"),
    ):
        (record,) = verified(capsys, edited(path, change))
        assert any(each.startswith("override") for each in record.altered)
        assert record.drift == ()
