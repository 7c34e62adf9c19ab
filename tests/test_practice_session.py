"""Practice at a terminal: driven through a pipe and through a pseudo-terminal, as a person or a script does."""

import contextlib
import itertools
import os
import re
import select
import signal
import subprocess
import sys
import time

import pytest

from cli.practice_input import NotUnderstood, fact_of, one_of, parted, several_of
from cli.practice_setup import practice_cases
from engine.practice.progress import Kept, standing
from engine.practice.progress_store import ProgressStore
from engine.practice.settings import MINUTES

pty = pytest.importorskip("pty")

PROGRAM = [sys.executable, "-c", "import cli.main; cli.main.run()", "practice"]
CASES = practice_cases(None, None)
ESCAPE = re.compile(rb"\x1b\[[0-9;?]*[a-zA-Z]")


@pytest.fixture
def data(tmp_path, monkeypatch):
    monkeypatch.setenv("BEDJOINT_DATA", str(tmp_path / "data"))
    return tmp_path / "data"


def piped(*arguments, typed):
    ran = subprocess.run(
        [*PROGRAM, *arguments], input="".join(f"{line}\n" for line in typed).encode(), capture_output=True, check=False
    )
    assert b"Traceback" not in ran.stderr + ran.stdout
    return ran.returncode, ran.stdout.decode(), ran.stderr.decode()


def right_answers(case):
    """What a trainee types who knows everything: each answer as another kind of typing."""
    outcomes = case.evaluation.outcomes
    typed = []
    for number, choice in enumerate(CASES.subject.choices):
        if choice != "plaster" and outcomes["verdict"].option != "treat" and choice not in ("rising_damp", "verdict"):
            continue
        options = [option.id for option in CASES.base.choices[choice].options]
        option = outcomes[choice].option
        typed.append(option if number % 2 else str(options.index(option) + 1))
    works = [str(case.offered.index(each) + 1) for each in case.called_for]
    return [*typed, " ".join(works) or "none"]


# ---- through a pipe ----


def test_a_whole_session_through_a_pipe(data):
    cases = [CASES.case(4, 2, number) for number in (1, 2)]
    typed = ["", *right_answers(cases[0]), "", "", *right_answers(cases[1])]
    code, out, err = piped("--seed", "4", "--level", "2", "--cases", "2", typed=typed)
    assert (code, err) == (0, "")
    assert out.count("RESULT: ") == 2
    assert "WRONG" not in out
    assert "Finished 2 cases" in out
    assert "\x1b" not in out
    assert max(map(len, out.splitlines())) <= 80
    for part in ("CASE 1 OF 2, LEVEL 2", "THE REASONING", "WHAT IT TURNS ON", "certifies nothing", "| bedjoint why -"):
        assert part in out.replace("|\n    bedjoint", "| bedjoint")
    kept = ProgressStore(data).results()
    assert [(each.seed, each.level, each.case, each.placed) for each in kept] == [(4, 2, 1, False), (4, 2, 2, False)]
    assert all(mark.worth == 1.0 for each in kept for mark in each.marks)


def test_nothing_hidden_is_shown_before_it_is_asked_for(data):
    case = CASES.case(6, 4, 1)
    code, out, _ = piped("--seed", "6", "--level", "4", typed=["facts"])
    assert code == 0
    for name in case.hidden:
        section, _, field = name.partition(".")
        for block in re.findall(rf"^{section} .*?(?=^\S|\Z)", out, re.MULTILINE | re.DOTALL):
            assert f"{field}: " not in " ".join(block.split()), name
    for option in ("RESULT", "REASONING", "TURNS ON"):
        assert option not in out


def test_facts_are_asked_for_by_number_name_and_beginning(data):
    case = CASES.case(6, 4, 1)
    first, second, third = case.hidden[:3]
    listed = piped("--seed", "6", "--level", "4", typed=["ask"])[1]
    number = re.search(rf"^ *(\d+) +{second.partition('.')[2]}  \(", listed, re.MULTILINE)[1]
    typed = [f"ask {first}", number, third.upper(), f"ask {first}", f"? {first}"]
    code, out, _ = piped("--seed", "6", "--level", "4", typed=typed)
    assert code == 0
    for name in (first, second, third):
        assert f"\n{name}: " in out
    spent = re.findall(r"; (\d+) min\s+on\s+(\d)", out)
    assert [int(count) for _, count in spent] == [1, 2, 3]
    assert int(spent[-1][0]) in {sum(three) for three in itertools.product(MINUTES.values(), repeat=3)}
    assert "Type ask for the list" in out
    assert "Established by:" in out


def test_whatever_is_typed_gets_an_answer_and_no_traceback(data):
    odd = [
        "?",
        "? nonsense",
        "help",
        "ask",
        "ask 999",
        "ask nonsense",
        "[/b]",
        "\u00e9\u00e9",
        "=1+1",
        "0",
        "-1",
        "back",
    ]
    at_question = ["", "x" * 500, "99", "", "facts", "ask", "?", "back", "tre at", "skip", "skip"]
    code, out, err = piped("--seed", "4", "--level", "2", typed=[*odd, *at_question])
    assert (code, err) == (0, "")
    assert "is not offered" in out
    assert "there is no number 99" in out
    assert out.rstrip().endswith("No case was finished.")


@pytest.mark.parametrize("typed", [[], ["", "1"], ["", "1", "q"]])
def test_the_end_of_input_and_quit_end_cleanly(data, typed):
    code, out, err = piped("--seed", "4", typed=typed)
    assert (code, err) == (0, "")
    assert "No case was finished." in out
    assert ProgressStore(data).results() == []


def test_what_was_finished_before_the_end_is_kept(data):
    typed = ["", *right_answers(CASES.case(4, 2, 1)), "", "ask"]
    code, out, _ = piped("--seed", "4", "--level", "2", typed=typed)
    assert code == 0
    assert "Finished 1 case, mean " in out
    assert len(ProgressStore(data).results()) == 1


def test_a_case_can_be_left_and_a_question_skipped(data):
    code, out, _ = piped("--seed", "4", "--level", "2", "--cases", "2", typed=["skip", "", *["skip"] * 9])
    assert code == 0
    assert "CASE 2 OF 2" in out
    assert out.count("RESULT") == 1
    assert out.count("  skipped  ") >= 3
    (kept,) = ProgressStore(data).results()
    assert kept.case == 2


def test_going_back_changes_an_answer_and_what_follows_from_it(data):
    case = next(
        c for c in (CASES.case(seed, 2, 1) for seed in range(40)) if c.evaluation.outcomes["verdict"].option == "treat"
    )
    damp = case.evaluation.outcomes["rising_damp"].option
    typed = ["", damp, "investigate", "back", "treat", *right_answers(case)[2:]]
    code, out, _ = piped("--seed", str(case.seed), "--level", "2", "--cases", "1", typed=typed)
    assert code == 0
    assert "<- your answer" in out
    assert "WRONG" not in out
    assert " ".join(out.split()).count("(follows from your answers)") >= 5


def test_without_a_seed_the_level_is_ones_own_and_moves(data):
    code, out, _ = piped("--cases", "1", typed=["", *["skip"] * 9])
    assert code == 0
    seed = int(re.search(r"Seed\s+(\d+)", out)[1])
    (kept,) = ProgressStore(data).results()
    assert (kept.seed, kept.level, kept.placed) == (seed, 1, True)
    assert "scenarios_demo" in out
    assert "You are at level 1." in " ".join(out.split())


def test_the_level_goes_up_after_good_results(data, monkeypatch):
    monkeypatch.setattr("cli.practice_command.demo_folder", lambda: None)
    monkeypatch.setattr("secrets.randbelow", lambda below: 9)
    lines = [line for n in (1, 2) for line in ("", *right_answers(CASES.case(9, 1, n)), "")]
    typed = iter([*lines, "quit"])
    monkeypatch.setattr("builtins.input", lambda prompt="": next(typed))
    from cli.main import exit_code_of

    assert exit_code_of(["practice"]) == 0
    kept = ProgressStore(data).results()
    assert [each.level for each in kept] == [1, 1]
    assert standing(kept).level == 2


def test_who_may_not_keep_progress_can_still_practise(tmp_path, monkeypatch):
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("BEDJOINT_DATA", str(tmp_path / "file"))
    typed = ["", *right_answers(CASES.case(4, 2, 1))]
    code, out, err = piped("--seed", "4", "--level", "2", "--cases", "1", typed=typed)
    assert code == 0
    assert "RESULT: " in out
    assert "Not kept." in out
    assert "progress is not kept" in err


def test_a_class_sees_the_same_cases_whatever_its_progress(data, tmp_path, monkeypatch):
    mine = piped("--seed", "12", typed=[])[1]
    good = Kept("2026-03-04T10:00:00+00:00", "2026.1", 1, 1, 1, True, 1.0, 0, (), ())
    for _ in range(3):
        ProgressStore(data).add(good)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("PYTHONPATH", os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
    assert piped("--seed", "12", typed=[])[1] == mine
    assert "LEVEL 1" in mine


# ---- at a terminal ----


class Terminal:
    """A session on a pseudo-terminal of 80 columns."""

    def __init__(self, *arguments):
        self.pid, self._fd = pty.fork()
        if self.pid == 0:
            signal.signal(signal.SIGINT, signal.default_int_handler)  # a suite run in the background has it ignored
            os.environ |= {"TERM": "xterm-256color", "COLUMNS": "80", "LINES": "40"}
            os.environ.pop("NO_COLOR", None)
            os.execv(PROGRAM[0], [*PROGRAM, *arguments])
        self.raw = b""
        self.over = False

    def until_prompt(self, seconds=30):
        start, end = len(self.raw), time.monotonic() + seconds
        while time.monotonic() < end and not self.over:
            if select.select([self._fd], [], [], 0.1)[0]:
                try:
                    got = os.read(self._fd, 65536)
                except OSError:
                    got = b""
                self.over = not got
                self.raw += got
            if self.raw[start:].endswith(b" > "):
                break
        return self.text(start)

    def text(self, start=0):
        return ESCAPE.sub(b"", self.raw[start:]).decode().replace("\r\n", "\n")

    def type(self, line):
        os.write(self._fd, line.encode())
        return self.until_prompt()

    def interrupt(self):
        """Press control-C as a person would: when nothing moves any more, and again where nothing came of it."""
        start = len(self.raw)
        for _ in range(3):
            time.sleep(0.3)
            os.write(self._fd, b"\x03")
            self.until_prompt(5)
            if self.over:
                break
        return self.text(start)

    def end(self):
        with contextlib.suppress(OSError):
            while os.read(self._fd, 65536):
                pass
        os.close(self._fd)
        return os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])


@pytest.fixture
def terminal(data):
    opened = []

    def start(*arguments):
        opened.append(Terminal(*arguments))
        return opened[-1]

    yield start
    for each in opened:
        with contextlib.suppress(OSError):
            os.kill(each.pid, signal.SIGKILL)
            os.waitpid(each.pid, 0)


def test_a_whole_case_at_a_terminal(terminal, data):
    case = CASES.case(5, 3, 1)
    session = terminal("--seed", "5", "--level", "3", "--cases", "1")
    out = session.until_prompt()
    assert "CASE 1 OF 1, LEVEL 3" in out
    assert out.endswith("facts > ")
    assert b"\x1b[1m" in session.raw
    out = session.type(f"ask {case.turns_on}\n")
    assert f"{case.turns_on}: " in out
    out = session.type("\n")
    for typed in right_answers(case):
        out = session.type(f"{typed}\n")
    assert "RESULT: " in out
    assert "right " in out
    # What a colour says, a word says too.
    assert "WRONG" not in out
    assert max(len(line) for line in session.text().splitlines()) <= 80
    assert session.end() == 0
    (kept,) = ProgressStore(data).results()
    assert kept.level == 3


def test_control_d_ends_cleanly_at_a_terminal(terminal, data):
    session = terminal("--seed", "5")
    session.until_prompt()
    out = session.type("\x04")
    assert "No case was finished." in out
    assert session.end() == 0


@pytest.mark.parametrize("steps", [[], ["\n", "1\n"]])
def test_control_c_ends_cleanly_at_a_terminal(terminal, data, steps):
    session = terminal("--seed", "5")
    session.until_prompt()
    for step in steps:
        session.type(step)
    out = session.interrupt()
    assert "No case was finished." in out
    assert "interrupted" in out
    assert "Traceback" not in out
    assert session.end() == 130


def test_control_c_between_cases_keeps_what_was_done(terminal, data):
    session = terminal("--seed", "4", "--level", "2", "--cases", "2")
    session.until_prompt()
    session.type("\n")
    for typed in right_answers(CASES.case(4, 2, 1)):
        out = session.type(f"{typed}\n")
    assert "next case" in out
    out = session.interrupt()
    assert "Finished 1 case" in out
    assert session.end() == 130
    assert len(ProgressStore(data).results()) == 1


# ---- what is typed ----


def test_one_is_meant_by_number_id_or_unique_beginning():
    offered = ["cream", "rods", "mortar", "aqueous_liquid", "solvent_liquid", "no_medium", "no_line", "no"]
    for typed, meant in {"1": "cream", " 8 ": "no", "CREAM": "cream", "aq": "aqueous_liquid", "no": "no"}.items():
        assert one_of(typed, offered) == meant
    assert one_of("aqueous liquid", offered) == "aqueous_liquid"
    assert one_of("solvent-", offered) == "solvent_liquid"
    for typed, message in {
        "9": "no number 9",
        "0": "no number 0",
        "no_": "could be no_medium or no_line",
        "crem": "did you mean cream",
        "": "not offered",
        "\u0663": "not offered",
        "9" * 5000: "no number",
    }.items():
        with pytest.raises(NotUnderstood, match=message):
            one_of(typed, offered)


def test_several_are_meant_in_the_order_offered():
    offered = ["a", "b", "c", "dig", "drain", "f"]
    assert several_of("3 1", offered) == ("a", "c")
    assert several_of("2-4, f", offered) == ("b", "c", "dig", "f")
    assert several_of("di a a", offered) == ("a", "dig")
    assert several_of("None", offered) == ()
    wrong = {"4-2": "backwards", "d": "could be dig or drain", "": "name the works", "1 9 zz": "no number 9.*; zz"}
    for typed, message in wrong.items():
        with pytest.raises(NotUnderstood, match=message):
            several_of(typed, offered)


def test_a_fact_is_meant_with_or_without_its_section():
    offered = ["evidence.tide_mark", "build.voids", "earlier_treatment.medium", "floor.kind", "existing_course.kind"]
    assert fact_of("tide", offered) == "evidence.tide_mark"
    assert fact_of("tide mark", offered) == "evidence.tide_mark"
    assert fact_of("build.v", offered) == "build.voids"
    assert fact_of("floor.kind", offered) == "floor.kind"
    with pytest.raises(NotUnderstood, match=r"could be floor\.kind or existing_course\.kind"):
        fact_of("kind", offered)
    with pytest.raises(NotUnderstood, match=r"did you mean build\.voids"):
        fact_of("void5", offered)
    assert parted("1, 2 3, tide mark") == ["1", "2", "3", "tide mark"]
    assert parted("build.voids 4") == ["build.voids", "4"]
