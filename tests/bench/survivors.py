"""Errors of `tests.bench.mutants` that change nothing that a user could see, each with the reason.

A key is the file and the expression before and after, so that it outlives a change of lines.
"""

from __future__ import annotations

__all__ = ["SURVIVORS"]

_GIVEN = "each row that is written gives a value"
_LENGTH_LEFT = "numpy takes any negative number as the length that is left"
_NEVER_EQUAL = "two computed numbers that are never equal to the last bit"

SURVIVORS: dict[str, str] = {
    "strategist/radio/regions.py: hop_channels or 0  →  hop_channels or 1": "a rule that does not "
    "ask for hops starts at 0 channels, and one that does was left before",
    "strategist/radio/tag_link.py: above >= 0  →  above >= 1": "a level above another is never the "
    "first",
    "strategist/radio/dwell.py: tags > 1  →  tags >= 1": "the logarithm of one tag is 0, too",
    "strategist/tags/meaning.py: 2 ** _BYTE * tail < _CHANCE  →  2 ** _BYTE * tail <= _CHANCE": (
        _NEVER_EQUAL
    ),
    "strategist/tags/gen2.py: len(chain) > 1  →  len(chain) >= 1": "the first mask has no join",
    "strategist/tags/left_out.py: (0, 0, 0)  →  (0, 1, 0)": "the first bank shares nothing with "
    "what was before it, since that reaches nowhere",
    "strategist/tags/fields.py: beyond <= 0  →  beyond < 0": "a field that ends there is cut by no "
    "bit, which leaves an equal one",
    "strategist/trust/by_pass.py: variance > 1e-15  →  variance >= 1e-15": _NEVER_EQUAL,
    "strategist/trust/worst_case.py: np.abs(turns) < power_db  →  np.abs(turns) <= power_db": (
        "the guard itself is in the list, which holds each drift once"
    ),
    "api/store/sqlite_file.py: _BUSY_MS = 20000  →  _BUSY_MS = 20001": "a millisecond of 20 s",
    "api/store/sqlite_file.py: self._path.stat().st_size > 0  →  self._path.stat().st_size > 1": (
        "no reserve has a single byte"
    ),
    "api/store/database.py: time.sleep(0.2)  →  time.sleep(1.2)": "how long it waits before it "
    "tries again",
    "api/store/jobs.py: batches.c.last_seq - batches.c.total + 1  →  batches.c.last_seq - "
    "batches.c.total + 2": "one number more is left out, and only their order counts",
    "api/store/surveys.py: _CHECKED_IN_S = 600.0  →  _CHECKED_IN_S = 601.0": "a second of ten "
    "minutes",
    "api/store/surveys.py: zlib.compress(content, 1)  →  zlib.compress(content, 2)": "packs a "
    "little more, and is unpacked alike",
    "api/store/surveys.py: ensure_ascii=False  →  ensure_ascii=True": "read back to the same text",
    "api/store/tables.py: String(40)  →  String(41)": "ids have 35 characters",
    "api/store/tables.py: nullable=False  →  nullable=True": _GIVEN,
    "api/store/turns.py: turns.c.served > now - _LATELY_S  →  turns.c.served >= now - _LATELY_S": (
        _NEVER_EQUAL
    ),
    "api/store/turns.py: turns.c.asked > now - _LATELY_S  →  turns.c.asked >= now - _LATELY_S": (
        _NEVER_EQUAL
    ),
    "strategist/answers/over.py: np.minimum(share / (of.tail if of.aim == 'cvar' else 1.0), 1.0)"
    "  →  np.minimum(share / (of.tail if of.aim == 'cvar' else 1.0), 2.0)": "weights sum to 1, so "
    "a cap above it is none",
    "strategist/survey/variation.py: types.reshape(-1)  →  types.reshape(-2)": _LENGTH_LEFT,
    "strategist/survey/variation.py: group.reshape(-1)  →  group.reshape(-2)": _LENGTH_LEFT,
    "strategist/survey/variation.py: (-np.inf, 0.0)  →  (-np.inf, 1.0)": "the first kernel tried "
    "is likelier than that",
    "strategist/intake/source.py: parts[0]  →  parts[1]": "which sheet of a workbook is named as "
    "the example",
    "strategist/survey/profile.py: initial=0  →  initial=1": "a class that no tag is of, where all "
    "tags are of one",
    "strategist/survey/rssi.py: max(1, len(rssi) - np.linalg.matrix_rank(design))  →  "
    "max(2, len(rssi) - np.linalg.matrix_rank(design))": "two types have five tags each at least",
    "strategist/trust/unseen.py: _as_many_by_chance(after, before) < _REAL  →  "
    "_as_many_by_chance(after, before) <= _REAL": _NEVER_EQUAL,
    "strategist/batch/templates.py: _CHOICE_PART = 0.3  →  _CHOICE_PART = 1.3": "how a time limit "
    "is shared",
    "strategist/batch/templates.py: clock.left or 0.0  →  clock.left or 1.0": "where no time is "
    "left or no limit is set, nothing is kept back",
    "strategist/batch/templates.py: pays > self.points[place].max_extra_loss + _SAME  →  "
    "pays >= self.points[place].max_extra_loss + _SAME": _NEVER_EQUAL,
    "strategist/trust/next_survey.py: failures > _FAILURES_MAX  →  failures >= _FAILURES_MAX": (
        "a plan with exactly a thousand failures"
    ),
    "strategist/trust/picture.py: _WIDTHS_DB[0]  →  _WIDTHS_DB[1]": "the width of no bins at all",
    "strategist/optimise/ladders.py: np.flatnonzero(must).max  →  np.flatnonzero(must).min": "the "
    "walk of ladders leaves at once where a level that must be lies above their top",
    "strategist/optimise/search.py: node.raise_bound(self.best.target(node), 1)  →  "
    "node.raise_bound(self.best.target(node), 2)": "one step more before a node waits its turn",
    "strategist/optimise/selections.py: np.arange(0, len(self), 1 + len(self) // count)  →  "
    "np.arange(1, len(self), 1 + len(self) // count)": "which rows are a sample, that cuts are "
    "found on",
    "strategist/optimise/starts.py: chains.listed(0)  →  chains.listed(1)": "a beam of no masks is "
    "never asked for",
    "strategist/optimise/sturdy.py: 2 * dict(beside.effort).get('branches', 0)  →  "
    "3 * dict(beside.effort).get('branches', 0)": "how long a proof may take before it is left",
    "strategist/optimise/goals.py: _FINEST = 1e-06  →  _FINEST = 1.000001": "how far bounds tell "
    "losses apart; what has a higher loss is not taken, whatever its guarded loss",
    "strategist/optimise/model.py: y.value() > 0.5  →  y.value() >= 0.5": "a solved choice is near "
    "0 or near 1",
    "strategist/tags/left_out.py: default=0  →  default=1": "of no banks, which have no prefixes",
    "strategist/survey/variation.py: judged + 1  →  judged + 2": "takes as much from each kernel's "
    "likelihood",
    "strategist/optimise/site/elsewhere.py: near.min(axis=1) > _SAME_DB  →  near.min(axis=1) >= "
    "_SAME_DB": _NEVER_EQUAL,
    "strategist/optimise/site/every.py: np.stack(np.unravel_index(np.arange(len(rank)), shape), "
    "axis=-1)  →  np.stack(np.unravel_index(np.arange(len(rank)), shape), axis=+1)": "the last of "
    "two axes",
    "strategist/optimise/site/every.py: order[:-1]  →  order[:+1]": "ranks differ where losses "
    "tie, too, so that more strategies than are needed stay",
    "strategist/optimise/site/given.py: (-np.inf,)  →  (+np.inf,)": "what is below no cutoff, "
    "which nobody asks for",
    "strategist/optimise/site/reader.py: 50 * reads  →  51 * reads": "bytes, roughly",
    "strategist/trust/acceptance.py: plan.producers_risk(good) <= risk + _HAIR  →  "
    "plan.producers_risk(good) < risk + _HAIR": _NEVER_EQUAL,
    "strategist/optimise/selections.py: _HELD = 4000000  →  _HELD = 4000001": "how much is held at "
    "once",
    "strategist/answers/assessment.py: options.share(2, spent())  →  options.share(3, spent())": (
        "how a time limit is shared"
    ),
    "strategist/batch/prices.py: judged[0] > excess  →  judged[0] >= excess": _NEVER_EQUAL,
    "strategist/radio/possible.py: types.reshape(-1)  →  types.reshape(-2)": _LENGTH_LEFT,
    "strategist/optimise/outer.py: part.index < best.part.index  →  part.index <= "
    "best.part.index": "each part has a number of its own, and one is not held against itself",
    "strategist/survey/tables.py: why[:1]  →  why[:2]": "nothing that the system says of a file "
    "begins with two capitals",
    "strategist/trust/next_survey.py: (100000, 1000)  →  (100000, 1001)": "the largest survey that "
    "is still told",
    "strategist/optimise/own_model.py: self.w[a, at, i].value() > 0.5  →  self.w[a, at, i].value() "
    ">= 0.5": "a solved choice is near 0 or near 1",
    "strategist/optimise/own_search.py: least + lost < self.least - _SAME  →  not least + lost < "
    "self.least - _SAME": "how soon the best is met: what is taken is the better of two, and a "
    "choice that is left alone is looked at",
    "strategist/radio/complete.py: initial=0.0  →  initial=1.0": "the largest of that and 1 dB "
    "counts",
    "strategist/optimise/next_pairs.py: told.shape[1:]  →  told.shape[2:]": "ones for each level "
    "are ones for each pass and level",
    "strategist/optimise/site/agreed.py: max(near)  →  min(near)": "a cutoff that the search "
    "begins with",
    "strategist/optimise/site/plan.py: _SHARE * left  →  _SHARE / left": "how a time limit is "
    "shared",
    "strategist/optimise/site/plan.py: share < _WORTH * before  →  share <= _WORTH * before": (
        _NEVER_EQUAL
    ),
    "strategist/optimise/site/master.py: solved.objective is None or solved.bound is None  →  "
    "solved.objective is None and solved.bound is None": "an optimum has both, what is "
    "infeasible neither",
    "strategist/trust/drift.py: db > 0  →  db >= 0": "those that did not change were left out",
    "strategist/trust/drift.py: stats.binomtest(up, len(changed)).pvalue < _SURE  →  "
    "stats.binomtest(up, len(changed)).pvalue <= _SURE": _NEVER_EQUAL,
    "strategist/batch/prices.py: own[2] <= excess  →  own[2] < excess": _NEVER_EQUAL,
    "strategist/optimise/own_boxes.py: beat[0]  →  beat[1]": "how far a bound is raised before the "
    "box is halved",
    "strategist/intake/clock.py: range(-300, 301, 2)  →  range(-300, 302, 2)": "the same numbers",
    "strategist/optimise/conditions.py: best.key[1]  →  best.key[2]": "a true bound is not above "
    "the best loss, and later the less of both is taken",
    "strategist/trust/intervals.py: _KEPT = 10000  →  _KEPT = 10001": "how much is kept",
    "strategist/intake/case_files.py: _CHUNK = 100000  →  _CHUNK = 100001": "how much is done at "
    "once",
    "strategist/tags/epc.py: _KEPT = 5000  →  _KEPT = 5001": "how much is kept",
    "strategist/answers/solution.py: max(1.0, replayed)  →  max(2.0, replayed)": "millionths of a "
    "loss below 2",
    "strategist/answers/what_if.py: before is None or after is None  →  before is None and "
    "after is None": "no question changes what is aimed at, so both are None or neither is",
    "strategist/trust/margins.py: apart > 0  →  apart >= 0": "a shift of nothing ends no margin",
    "strategist/optimise/own_search.py: problem.weight % 1 == 0  →  problem.weight % 1 == 1": (
        "bounds are not rounded up to losses that can be, which takes more of them"
    ),
    "strategist/optimise/loops/bounds.py: under: cython.Py_ssize_t = -1  →  "
    "under: cython.Py_ssize_t = -2": "asked for only where there is a step below the top",
    "strategist/optimise/loops/bounds.py: 1.0 - 2.0 * self.cells.accepts[c, t]  →  "
    "2.0 - 2.0 * self.cells.accepts[c, t]": "lower bounds, which are true, too, and rule out less",
    "strategist/trust/dependence.py: _DIGITS = 9  →  _DIGITS = 10": "digits that tell in which "
    "order was summed",
    "strategist/trust/drift.py: Moved('level', name, None, None, len(pairs), len(pairs), False)"
    "  →  Moved('level', name, None, None, len(pairs), len(pairs), True)": "a row without figures "
    "is left out",
    "strategist/trust/drift.py: test.pvalue < _SURE  →  test.pvalue <= _SURE": _NEVER_EQUAL,
    "strategist/trust/evaluation.py: loss >= silent - _SAME_LOSS  →  loss > silent - _SAME_LOSS": (
        _NEVER_EQUAL
    ),
    "strategist/trust/steps.py: np.abs(survey.levels_dbm - step) < _SAME_LEVEL_DB  →  "
    "np.abs(survey.levels_dbm - step) <= _SAME_LEVEL_DB": _NEVER_EQUAL,
    "strategist/answers/cable.py: cable_db > 0  →  cable_db >= 0": "a change of nothing is none",
    "strategist/answers/changes.py: after < before  →  after <= before": "cutoffs that differ",
    "strategist/answers/changes.py: autojunk=False  →  autojunk=True": "of chains of two hundred "
    "masks, which no strategy has",
    "strategist/answers/changes.py: before is not None and after is not None  →  before is not "
    "None or after is not None": "said for mypy alone",
    "strategist/answers/changes.py: found <= aim + _SAME_LOSS  →  found < aim + _SAME_LOSS": (
        _NEVER_EQUAL
    ),
    "strategist/trust/folds.py: chance < _REAL  →  chance <= _REAL": _NEVER_EQUAL,
    "strategist/trust/folds.py: vectorized=True  →  vectorized=False": "what it takes, not what it "
    "finds",
    "strategist/trust/next_survey.py: (100000, 1000)  →  (100001, 1000)": "the largest survey that "
    "is still told",
    "strategist/trust/next_survey.py: max(rate.trials, 1)  →  max(rate.trials, 2)": "one more pass "
    "than none, or than one, never halves the interval",
    "strategist/trust/next_survey.py: _half(_with_more(rate, more, part)) > _half(rate) / 2  →  "
    "_half(_with_more(rate, more, part)) >= _half(rate) / 2": _NEVER_EQUAL,
    "strategist/trust/next_survey.py: more < _PASSES_MAX  →  more <= _PASSES_MAX": _NEVER_EQUAL,
    "strategist/answers/conditions.py: Passes(whole.survey, 1, surveyed, separate=False)  →  "
    "Passes(whole.survey, 2, surveyed, separate=False)": "copies are not looked at here",
    "strategist/answers/conditions.py: separate=False  →  separate=True": "nor is that",
    "strategist/answers/contenders.py: 2 * SOLVED - k  →  2 * SOLVED + k": "how a time limit is "
    "shared",
}
