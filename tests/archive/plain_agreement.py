"""The findings of one wall worked out the plain way, by the words of their definition: a reference, slow and simple."""

from engine.archive.relative_cost import relative_cost
from engine.rulebase.conditions import UNDECIDED
from engine.rulebase.model import STAGES

WORDS = ("must", "should", "consider")


def plain_agreement(base, evaluation, job):
    """`job` has what was recommended, installed and came of it, by the names of the flat frame."""
    fired = [rule for rule in base.rules if rule.id in evaluation.fired]
    found = {"rules": base.manifest.version, "status": status(evaluation)}
    points, bringing = {}, {}
    choices = sorted(base.choices.values(), key=lambda choice: STAGES.index(choice.stage))
    for choice in choices:
        outcome = evaluation.outcomes[choice.id]
        recommended = job.get(f"recommended.{choice.id}")
        points[choice.id] = point = beside(choice, outcome, recommended, fired)
        bringing[choice.id] = brings(choice, outcome.option, fired)
        found |= {
            f"decided.{choice.id}": outcome.option,
            f"possible.{choice.id}": list(outcome.possible),
            f"recommended.{choice.id}": recommended,
            f"finding.{choice.id}": point[0],
            f"grade.{choice.id}": point[1],
            f"against.{choice.id}": [rule.id for rule in point[2]],
        }
    graded = [(point[1], False) for point in points.values()]
    primary, shaken = independent(base, choices, points, bringing)
    open_sets = 0
    for name in base.sets:
        held, recommended = evaluation.sets[name], job.get(f"recommended.{name}")
        order = sorted(base.members[name], key=lambda m: (base.members[name][m].order, m))
        left, beyond, called_for = [], [], []
        if recommended is not None:
            left = [m for m in order if m in held.now and m in held.sure and m not in recommended]
            allowed = held.now | held.sure | held.may
            unknown = dict.fromkeys(m for m in recommended if m not in order)
            called_for = [m for m in order if m in held.now and m not in held.sure and m not in recommended]
            beyond = [m for m in (*order, *unknown) if m in recommended and m not in allowed]
        adding = [rule for rule in fired if any((name, m) in rule.adds for m in left) and not read(base, rule) & shaken]
        grade = strongest(adding) if adding else None
        open_sets += bool(called_for)
        graded.append((grade, True))
        found |= {
            f"decided.{name}": [m for m in order if m in held.now],
            f"recommended.{name}": recommended,
            f"left_out.{name}": left,
            f"left_out_grade.{name}": grade,
            f"called_for_now.{name}": called_for,
            f"beyond.{name}": beyond,
        }
    installed = job.get("installed.medium")
    point = beside(base.choices["medium"], evaluation.outcomes["medium"], installed, fired)
    graded.append((point[1], True))
    found |= {
        "finding.installed": point[0],
        "grade.installed": point[1],
        "against.installed": [rule.id for rule in point[2]],
        "as_recommended": None
        if installed is None or job.get("recommended.medium") is None
        else installed == job["recommended.medium"],
    }
    found["over_specified"] = dearer(base, job.get("recommended.medium"), points["verdict"][0], fired)
    found["primary"] = [choice for choice in base.choices if choice in primary]
    findings = [point[0] for point in points.values()] + [found["finding.installed"]]
    grades = [grade for grade, _ in graded if grade]
    recorded = any(each != "not_recorded" for each in findings) or any(
        job.get(f"recommended.{name}") is not None for name in base.sets
    )
    if grades:
        found["worst"] = min(grades, key=WORDS.index)
    elif "not_decidable" in findings or open_sets:
        found["worst"] = "not_decidable"
    else:
        found["worst"] = "agree" if recorded else "not_recorded"
    counted = [points[choice][1] for choice in primary] + [grade for grade, counts in graded if counts and grade]
    found["rank"] = (
        -(*WORDS, "not_decidable", "agree", "not_recorded").index(found["worst"]),
        job.get("outcome.result") in ("unchanged", "worse"),
        *(min(31, counted.count(word)) for word in WORDS),
        findings.count("not_decidable") + open_sets,
    )
    held = [place for place, rule in enumerate(base.rules) if rule.id in evaluation.fired]
    for word in range((len(base.rules) + 63) // 64):
        found[f"fired.{word}"] = sum(1 << place % 64 for place in held if place // 64 == word)
    return found


def status(evaluation):
    outcomes = evaluation.outcomes.values()
    if any(outcome.option == UNDECIDED for outcome in outcomes):
        return "undecided"
    return "provisional" if any(len(outcome.possible) > 1 for outcome in outcomes) else "settled"


def strongest(rules):
    return min((rule.word for rule in rules), key=WORDS.index, default="consider")


def against(choice, option, fired):
    return [rule for rule in fired if (choice.id, option) in rule.rules_out]


def support(choice, option, fired):
    return [rule for rule in fired if (choice.id, option) in rule.supports]


def stands(choice, option, fired):
    of = next((each for each in choice.options if each.id == option), None)
    return of is not None and not against(choice, option, fired) and bool(of.open or support(choice, option, fired))


def brings(choice, option, fired):
    supporting = support(choice, option, fired)
    if supporting:
        return supporting
    ids = [each.id for each in choice.options]
    before = ids[: ids.index(option)] if option in ids else ids
    return [rule for rule in fired if any((choice.id, each) in rule.rules_out for each in before)]


def beside(choice, outcome, given, fired):
    """Finding, grade, and the rules that speak against what was given."""
    if given is None:
        return "not_recorded", None, []
    if given == outcome.option:
        return "agree", None, []
    if given in outcome.possible or outcome.option == UNDECIDED:
        return "not_decidable", None, []
    ruled_out = against(choice, given, fired)
    if ruled_out:
        return "differs", strongest(ruled_out), ruled_out
    if not stands(choice, given, fired):
        bringing = brings(choice, outcome.option, fired)
        return "differs", strongest(bringing), bringing
    return "differs", "consider", support(choice, outcome.option, fired)


def dearer(base, given, verdict, fired):
    cost = relative_cost()
    choice = base.choices[cost.choice]
    if given is None or verdict not in ("agree", "not_recorded") or not stands(choice, given, fired):
        return None
    return next((each for each in cost.cheaper_than(given) if stands(choice, each, fired)), None)


def independent(base, choices, points, bringing):
    """The choices that differ by themselves; and those that differ, or came of one that does."""
    shaken, found = set(), set()
    for choice in choices:
        finding, _, rules = points[choice.id]
        follows = any(read(base, rule) & shaken for rule in rules)
        if finding == "differs" and not follows:
            found.add(choice.id)
        if finding == "differs" or (
            finding != "agree" and any(read(base, rule) & shaken for rule in bringing[choice.id])
        ):
            shaken.add(choice.id)
    return found, shaken


def read(base, rule, seen=frozenset()):
    found = set()
    for test in rule.tests:
        scope, _, key = test.variable.name.partition(".")
        if scope == "decided":
            found.add(key)
        elif scope == "found" and key not in seen:
            for other in base.rules:
                if any(name == key for name, _ in other.adds):
                    found |= read(base, other, seen | {key})
    return found
