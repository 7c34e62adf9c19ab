"""Progress: how the level moves, what is summed up, and a database that loses nothing."""

import contextlib
import dataclasses
import json
import os
import pathlib
import sqlite3
import subprocess
import sys
import tempfile
import threading
import warnings

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cli.main import exit_code_of
from engine.errors import BadInput
from engine.practice.progress import Kept, KeptMark, KeptRule, Standing, standing, summed_up
from engine.practice.progress_store import FILE, LAYOUT, ProgressStore, data_folder
from engine.practice.settings import DOWN_BELOW, LEVELS, RESULTS_LOOKED_AT, RESULTS_NEEDED, UP_FROM
from engine.rulebase.load import load_rule_base, versions

RESULT = Kept(
    taken_at="2026-03-04T10:00:00+00:00",
    rules_version="2026.1",
    seed=10**12,
    level=1,
    case=2,
    placed=True,
    score=0.75,
    minutes=130,
    marks=(
        KeptMark("verdict", "treat", "remove_cause", 0.0),
        KeptMark("medium", None, "cream", 0.0),
        KeptMark("works", None, None, 0.5),
    ),
    rules=(KeptRule("S-002", "missed"), KeptRule("M-003", "misread")),
)
scores = st.floats(0, 1)


def at(level, score, placed=True):
    return dataclasses.replace(RESULT, level=level, score=score, placed=placed)


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.setenv("BEDJOINT_DATA", str(tmp_path / "data"))
    return tmp_path / "data"


def run(capsys, *arguments):
    code = exit_code_of(list(arguments))
    captured = capsys.readouterr()
    assert "Traceback" not in captured.err + captured.out
    return code, captured.out, captured.err


# ---- the level ----


def test_good_results_move_up_and_poor_ones_down():
    assert standing([at(1, 1.0), at(1, UP_FROM)]) == Standing(2)
    assert standing([at(1, 1.0)] * 2 + [at(2, 0.0)] * 2) == Standing(1)
    assert standing([at(1, 0.7), at(1, 0.7), at(1, 0.7)]).level == 1


def test_one_result_moves_nothing():
    assert standing([at(1, 1.0)]) == Standing(1, (1.0,))


def test_the_level_stays_within_its_ends():
    everything = [at(level, 1.0) for level in range(1, len(LEVELS) + 1) for _ in range(2)]
    assert standing(everything * 2).level == len(LEVELS)
    assert standing([at(1, 0.0)] * 9).level == 1


def test_results_at_a_level_given_by_hand_move_nothing():
    assert standing([at(1, 1.0, placed=False)] * 9) == Standing(1)
    assert standing([at(5, 0.0)] * 9) == Standing(1)


@given(st.lists(scores, max_size=30))
def test_the_level_moves_by_one_and_only_for_a_mean_beyond_the_bounds(given_scores):
    now = Standing(3)
    for score in given_scores:
        after = now.after(score)
        counted = [*now.recent, score][-RESULTS_LOOKED_AT:]
        mean = sum(counted) / len(counted)
        if after.level > now.level:
            assert after.level == now.level + 1
            assert mean >= UP_FROM
        elif after.level < now.level:
            assert after.level == now.level - 1
            assert mean < DOWN_BELOW
        if after.level != now.level:
            assert len(counted) >= RESULTS_NEEDED
            assert after.recent == ()
        now = after


@given(st.lists(scores, max_size=12), scores, st.floats(0, 0.2))
def test_a_better_result_never_leaves_one_lower(before, score, more):
    now = Standing(3)
    for each in before:
        now = now.after(each)
    assert now.after(min(1.0, score + more)).level >= now.after(score).level


# ---- what is summed up ----


def test_results_are_summed_up_by_choice_level_and_rule():
    other = dataclasses.replace(
        at(2, 0.25), marks=(KeptMark("verdict", "treat", "treat", 1.0),), rules=(KeptRule("S-002", "misread"),)
    )
    progress = summed_up([RESULT, other], "here", {"verdict": "Verdict", "works": "Works"}, {"S-002": "A leak"})
    assert (progress.cases, progress.score, progress.level) == (2, 0.5, 1)
    assert [(each.level, each.cases, each.score) for each in progress.by_level] == [(1, 1, 0.75), (2, 1, 0.25)]
    verdict, works = progress.by_choice
    assert (verdict.marked, verdict.score) == (2, 0.5)
    assert [(c.answer, c.right, c.times) for c in verdict.confused] == [("treat", "remove_cause", 1)]
    assert works.score == 0.5
    assert [(r.rule, r.title, r.missed, r.misread) for r in progress.by_rule] == [
        ("S-002", "A leak", 1, 1),
        ("M-003", "a rule of another version", 0, 1),
    ]


# ---- the database ----


def no_database(path):
    path.write_bytes(b"no database at all, but long enough to be read as one" * 40)


def newer(path):
    with sqlite3.connect(path) as connection:
        connection.execute(f"PRAGMA user_version = {LAYOUT + 6}")
    connection.close()


def foreign(path):
    path.unlink()
    with sqlite3.connect(path) as connection:
        connection.execute("CREATE TABLE recipes (name TEXT)")
    connection.close()


def without_a_table(path):
    with sqlite3.connect(path) as connection:
        connection.execute("DROP TABLE mark")
    connection.close()


def cut(path):
    path.write_bytes(path.read_bytes()[: 4096 * 2])


SPOILS = {each.__name__: each for each in (no_database, newer, foreign, without_a_table, cut)}


def test_what_is_added_comes_back(folder):
    store = ProgressStore()
    assert store.results() == []
    assert not folder.exists()
    store.add(RESULT)
    store.add(at(2, 0.1, placed=False))
    assert store.results() == [RESULT, at(2, 0.1, placed=False)]
    assert store.path == folder / FILE
    with contextlib.closing(sqlite3.connect(store.path)) as connection:
        assert connection.execute("PRAGMA user_version").fetchone() == (LAYOUT,)


def test_without_the_variable_the_users_own_folder_is_taken(monkeypatch):
    monkeypatch.delenv("BEDJOINT_DATA", raising=False)
    assert data_folder().name == "bedjoint"
    monkeypatch.setenv("BEDJOINT_DATA", "")
    assert data_folder().name == "bedjoint"


def test_clearing_forgets_everything(folder):
    store = ProgressStore()
    assert store.clear() == 0
    store.add(RESULT)
    store.add(RESULT)
    assert store.clear() == 2
    assert store.results() == []
    with contextlib.closing(sqlite3.connect(store.path)) as connection:
        for table in ("mark", "rule"):
            assert connection.execute(f"SELECT count(*) FROM {table}").fetchone() == (0,)


@pytest.mark.parametrize(
    ("spoil", "message"),
    [
        ("no_database", "damaged or no"),
        ("newer", "newer version of bedjoint"),
        ("foreign", "not one of bedjoint"),
        ("without_a_table", "a part of it is missing"),
        ("cut", "damaged"),
    ],
)
def test_what_cannot_be_used_is_named_and_left_as_it_is(capsys, folder, monkeypatch, spoil, message):
    store = ProgressStore()
    for _ in range(60):
        store.add(RESULT)
    SPOILS[spoil](store.path)
    before = store.path.read_bytes()
    for attempt in (store.results, store.clear, lambda: store.add(RESULT), store.check_writable):
        with pytest.raises(BadInput, match=message):
            attempt()
    code, out, err = run(capsys, "practice", "progress")
    assert (code, out) == (2, "")
    assert message in err
    assert "nothing in it was changed" in err
    # Practice itself goes on, and says that progress is not kept.
    monkeypatch.setattr("builtins.input", no_more_input)
    code, out, err = run(capsys, "practice", "--seed", "1")
    assert code == 0
    assert "progress is not kept" in err
    assert message in err
    assert store.path.read_bytes() == before


def no_more_input(prompt=""):
    raise EOFError


def test_a_result_is_kept_whole_or_not_at_all(folder):
    store = ProgressStore()
    store.add(RESULT)
    broken = dataclasses.replace(RESULT, rules=(KeptRule("S-002", None),))
    with pytest.raises(BadInput):
        store.add(broken)
    assert store.results() == [RESULT]


def test_two_processes_and_two_threads_write_at_once(folder):
    program = (
        "import pathlib, sys\n"
        "from tests_result import RESULT\n"
        "from engine.practice.progress_store import ProgressStore\n"
        "sys.stdin.readline()\n"
        "for _ in range(40): ProgressStore().add(RESULT)\n"
    )
    (folder.parent / "tests_result.py").write_text(
        f"from engine.practice.progress import Kept, KeptMark, KeptRule\nRESULT = {RESULT!r}\n"
    )
    root = str(pathlib.Path(__file__).parent.parent)
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join((str(folder.parent), root))}
    workers = [
        subprocess.Popen([sys.executable, "-c", program], stdin=subprocess.PIPE, env=environment) for _ in range(2)
    ]
    threads = [threading.Thread(target=lambda: [ProgressStore().add(RESULT) for _ in range(10)]) for _ in range(2)]
    for worker in workers:
        worker.stdin.write(b"\n")
        worker.stdin.close()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [worker.wait(30) for worker in workers] == [0, 0]
    results = ProgressStore().results()
    assert len(results) == 2 * 40 + 2 * 10
    assert all(each == RESULT for each in results)


def test_a_folder_that_cannot_be_made_is_said_and_practice_goes_on(capsys, tmp_path, monkeypatch):
    (tmp_path / "file").write_text("no folder")
    monkeypatch.setenv("BEDJOINT_DATA", str(tmp_path / "file" / "data"))
    monkeypatch.setattr("builtins.input", no_more_input)
    code, out, err = run(capsys, "practice", "--seed", "1")
    assert code == 0
    assert "progress is not kept" in err
    assert "CASE 1 OF 5" in out
    assert run(capsys, "practice", "progress")[0] == 0


def test_a_database_that_cannot_be_written_can_still_be_read(folder, monkeypatch):
    store = ProgressStore()
    store.add(RESULT)
    real = sqlite3.connect
    monkeypatch.setattr(sqlite3, "connect", lambda path, **options: real(f"file:{path}?mode=ro", uri=True, **options))
    assert store.results() == [RESULT]
    for attempt in (store.check_writable, store.clear, lambda: store.add(RESULT)):
        with pytest.raises(BadInput, match="cannot be written: attempt to write a readonly database"):
            attempt()
    monkeypatch.undo()


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root can become another user")
def test_another_users_folder_can_be_read_and_not_written():
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        ProgressStore(folder).add(RESULT)
        folder.chmod(0o755)
        reading, writing = os.pipe()
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # other tests may have left threads, which the child has no use for
            child = os.fork()
        if child == 0:  # as somebody else, who may look and not touch
            os.setgroups([])
            os.setgid(65534)
            os.setuid(65534)
            said = f"{len(ProgressStore(folder).results())}"
            try:
                ProgressStore(folder).check_writable()
            except BadInput as error:
                said += f" {error}"
            os.write(writing, said.encode())
            os._exit(0)
        os.waitpid(child, 0)
        said = os.read(reading, 4096).decode()
        os.close(reading)
        os.close(writing)
        assert said.startswith("1 ")
        assert "cannot be written" in said
        assert ProgressStore(folder).results() == [RESULT]


# ---- the command ----


def test_progress_says_how_the_level_moves_before_there_is_any(capsys, folder):
    code, out, err = run(capsys, "practice", "progress")
    assert (code, err) == (0, "")
    assert "No case has been finished yet" in out
    assert "HOW THE LEVEL MOVES" in out
    assert not folder.exists()
    assert max(map(len, out.splitlines())) <= 80 + len(str(folder))


def test_progress_shows_choices_levels_and_rules(capsys, folder):
    ProgressStore().add(RESULT)
    code, out, _ = run(capsys, "practice", "progress")
    assert code == 0
    words = " ".join(out.split())
    assert "1 case, mean 75 %. You are at level 1." in words
    title = load_rule_base(versions()[-1].version).choices["verdict"].title
    assert f"{title}, marked 1 times; wrong: treat for remove_cause (1)" in words
    assert "S-002" in out
    assert "missed 1" in out
    code, out, _ = run(capsys, "practice", "progress", "--format", "json")
    data = json.loads(out)
    assert data["cases"] == 1
    assert data["by_choice"][0]["choice"] == "verdict"
    assert [each["choice"] for each in data["by_choice"]] == ["verdict", "medium", "works"]


@pytest.mark.parametrize(("typed", "left"), [("no", 1), ("", 1), (None, 1), ("yes", 0), (" Y ", 0)])
def test_clearing_asks_first(capsys, folder, monkeypatch, typed, left):
    ProgressStore().add(RESULT)
    asked = []

    def answer(prompt=""):
        asked.append(prompt)
        if typed is None:
            raise EOFError
        return typed

    monkeypatch.setattr("builtins.input", answer)
    code, out, _ = run(capsys, "practice", "progress", "--clear")
    assert code == 0
    assert "Forget the results of 1 case" in asked[0]
    assert ("Nothing was forgotten" in out) is bool(left)
    assert len(ProgressStore().results()) == left
