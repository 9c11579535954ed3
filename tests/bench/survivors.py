"""Errors of `tests.bench.mutants` that change nothing that a user could see, each with the reason.

A key is the file and the expression before and after, so that it outlives a change of lines.
"""

from __future__ import annotations

__all__ = ["SURVIVORS"]

_GIVEN = "each row that is written gives a value"
_LENGTH_LEFT = "numpy takes any negative number as the length that is left"
_SAME_ANSWER = "another way to the same answer, sooner or later"
_UNASKED = "what stands there where nothing is asked for is never looked at"
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
    "strategist/survey/rssi.py: max(1, len(rssi) - rank)  →  max(2, len(rssi) - rank)": (
        "two types have five tags each at least"
    ),
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
    "strategist/optimise/starts.py: self.chains.listed(0)  →  self.chains.listed(1)": (
        "a beam of no masks is never asked for"
    ),
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
    "strategist/optimise/site/plan.py: 'cutoff' in one.policy.allow  →  'cutoff' not in "
    "one.policy.allow": "whether read points are alike in it",
    "strategist/optimise/site/plan.py: _SHARE * left  →  _SHARE / left": "how a time limit is "
    "shared",
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
    "strategist/optimise/loops/bounds.py: under: cython.Py_ssize_t = -1  →  "
    "under: cython.Py_ssize_t = +1": "asked for only where there is a step below the top",
    "strategist/optimise/loops/bounds.py: low > 0  →  low >= 0": "from 0 on nothing is added, "
    "and it only falls",
    "strategist/optimise/selections.py: max(1, _AT_ONCE // (8 * words.shape[1]))  →  min(1, "
    "_AT_ONCE // (8 * words.shape[1]))": "how much is done at once",
    "strategist/optimise/loops/bounds.py: 1.0 - 2.0 * self.cells.accepts[c, t]  →  "
    "2.0 - 2.0 * self.cells.accepts[c, t]": "lower bounds, which are true, too, and rule out less",
    "strategist/tags/power_table.py: abs(nearest - power_dbm) > TOLERANCE_DB + 1e-09  →  "
    "abs(nearest - power_dbm) >= TOLERANCE_DB + 1e-09": _NEVER_EQUAL,
    "strategist/tags/power_table.py: abs(power_dbm - asked_dbm) <= TOLERANCE_DB + 1e-09  "
    "→  abs(power_dbm - asked_dbm) < TOLERANCE_DB + 1e-09": _NEVER_EQUAL,
    "strategist/tags/tid.py: length > 1  →  length > 2": "no field of a TID has two bits",
    "strategist/tags/epc.py: bits >= 12  →  bits > 12": ("hex of whole bytes has 8 or 16 bits"),
    "strategist/tags/uri.py: 12 - len(given['company prefix']) if scheme.key is not None "
    "else 0  →  12 - len(given['company prefix']) if scheme.key is not None else 1": (
        "a scheme without a key has the same parts whatever the partition"
    ),
    "strategist/radio/link.py: SPEED_OF_LIGHT = 299792458.0  →  SPEED_OF_LIGHT = 299792459.0": (
        "a third of a hundred-millionth of figures told to three digits"
    ),
    "strategist/radio/regions.py: free_gain_dbi: float = 0.0  →  free_gain_dbi: float = 1.0": (
        "read of conducted limits alone, and the one there is gives its own"
    ),
    "strategist/radio/regions.py: self.limits_w[0][0] > 0  →  self.limits_w[0][0] > 1": (
        "no rule asks for a single channel"
    ),
    "strategist/radio/regions.py: level > lawful.dbm + 1e-09  →  level >= lawful.dbm + 1e-09": (
        _NEVER_EQUAL
    ),
    "strategist/radio/findings.py: SLOPE_LOW <= median <= SLOPE_HIGH  →  SLOPE_LOW < "
    "median <= SLOPE_HIGH": _NEVER_EQUAL,
    "strategist/radio/findings.py: median < SLOPE_LOW  →  median <= SLOPE_LOW": _NEVER_EQUAL,
    "strategist/radio/findings.py: found < expected - BETTER_DB  →  found <= expected - "
    "BETTER_DB": _NEVER_EQUAL,
    "strategist/radio/findings.py: above > expected + WORSE_DB  →  above >= expected + "
    "WORSE_DB": _NEVER_EQUAL,
    "strategist/radio/findings.py: steps_by_masks(survey, time, (), 0, most, "
    "turns=turns)  →  steps_by_masks(survey, time, (), 1, most, turns=turns)": (
        "where no field is to be masked there is one number whatever the slots"
    ),
    "strategist/radio/tag_link.py: np.where(ends, bottom, 0.0)  →  np.where(ends, "
    "bottom, 1.0)": _UNASKED,
    "strategist/radio/tag_link.py: np.where(known, spread, 1.0)  →  np.where(known, "
    "spread, 2.0)": _UNASKED,
    "strategist/radio/tag_link.py: high - low > OUTLIER  →  high - low >= OUTLIER": _NEVER_EQUAL,
    "strategist/radio/tag_link.py: np.maximum(count - 1, 1)  →  np.maximum(count - 1, 2)": (
        "types of so few turn-ons have no law"
    ),
    "strategist/radio/tag_link.py: np.where(read_high, peaks[entry, high], 0.0)  →  "
    "np.where(read_high, peaks[entry, high], 1.0)": _UNASKED,
    "strategist/radio/tag_link.py: high >= 0  →  high > 0": (
        "a level above another is never the first"
    ),
    "strategist/radio/tag_link.py: high >= 0  →  high >= 1": (
        "a level above another is never the first"
    ),
    "strategist/radio/tag_link.py: above >= 0  →  above > 0": (
        "a level above another is never the first"
    ),
    "strategist/radio/tag_link.py: count.clip(1)  →  count.clip(2)": (
        "types that have a law have five turn-ons, or else none"
    ),
    "strategist/radio/tag_link.py: count > 0  →  count > 1": (
        "types that have a law have five turn-ons, or else none"
    ),
    "strategist/radio/tag_link.py: inside > OUTLIER  →  inside >= OUTLIER": _NEVER_EQUAL,
    "strategist/radio/tag_link.py: np.where(lawful, inside, 1.0)  →  np.where(lawful, "
    "inside, 2.0)": _UNASKED,
    "strategist/radio/tag_link.py: np.where((below >= 0) & (above >= 0), "
    "levels_dbm[above] - levels_dbm[below], 1.0)  →  np.where((below >= 0) & (above >= "
    "0), levels_dbm[above] - levels_dbm[below], 2.0)": _UNASKED,
    "strategist/radio/tag_link.py: np.maximum(np.bincount(entry, minlength=len(peaks)), "
    "1)  →  np.maximum(np.bincount(entry, minlength=len(peaks)), 2)": (
        "entries that are counted have two reads at least"
    ),
    "strategist/radio/dwell.py: TAGS_MAX + 1  →  TAGS_MAX + 2": (
        "one number more than is asked for"
    ),
    "strategist/radio/dwell.py: math.fsum(waits) / 1000000.0  →  math.fsum(waits) / 1000001.0": (
        "a millionth of a time that is told with three figures"
    ),
    "strategist/radio/dwell.py: minlength=1  →  minlength=2": (
        "one pass more, of no tag, and the most is asked for"
    ),
    "strategist/radio/dwell.py: steps * worst_s <= dwell_s * (1 + _SLACK)  →  steps * "
    "worst_s < dwell_s * (1 + _SLACK)": _NEVER_EQUAL,
    "strategist/radio/dwell.py: found is None or time.dwell_s is None  →  found is None "
    "and time.dwell_s is None": "one of them is None where the other is",
    "strategist/radio/dwell.py: _worst_s(survey, time, fields, 0)  →  _worst_s(survey, "
    "time, fields, 1)": "the first of them is taken",
    "strategist/radio/possible.py: self.high >= 0  →  self.high > 0": (
        "a level above another is never the first"
    ),
    "strategist/radio/possible.py: self.high >= 0  →  self.high >= 1": (
        "a level above another is never the first"
    ),
    "strategist/radio/possible.py: gone < self.gone  →  gone <= self.gone": _NEVER_EQUAL,
    "strategist/radio/possible.py: np.where(self.low >= 0, self.levels_dbm[self.low], "
    "-np.inf)  →  np.where(self.low >= 0, self.levels_dbm[self.low], +np.inf)": _UNASKED,
    "strategist/radio/possible.py: np.where(self.low >= 0, power - below, 0.0)  →  "
    "np.where(self.low >= 0, power - below, 1.0)": _UNASKED,
    "strategist/radio/possible.py: power >= on  →  power > on": _NEVER_EQUAL,
    "strategist/radio/possible.py: there < between[entry] * (self.levels_dbm[self.high] "
    "- below)  →  there <= between[entry] * (self.levels_dbm[self.high] - below)": _NEVER_EQUAL,
    "strategist/radio/possible.py: rng.random(len(self.entry)) < self.fails  →  "
    "rng.random(len(self.entry)) <= self.fails": _NEVER_EQUAL,
    "strategist/radio/possible.py: found[self.entry[fails], self.level[fails]] = -np.inf "
    " →  found[self.entry[fails], self.level[fails]] = +np.inf": (
        "what is not finite was not read"
    ),
    "strategist/radio/possible.py: rng.random(len(mine)) < share  →  "
    "rng.random(len(mine)) <= share": _NEVER_EQUAL,
    "strategist/radio/possible.py: left < stays  →  left <= stays": _NEVER_EQUAL,
    "strategist/radio/possible.py: 1 - 1e-06  →  1 + 1e-06": "one draw in a million lies beyond",
    "strategist/radio/possible.py: 1 - 1e-06  →  2 - 1e-06": "one draw in a million lies beyond",
    "strategist/radio/possible.py: np.where(ever, heard, 0.0)  →  np.where(ever, heard, 1.0)": (
        _UNASKED
    ),
    "strategist/radio/possible.py: len(self.levels_dbm) - 1  →  len(self.levels_dbm) - 2": (
        "no level below a first read is the highest"
    ),
    "strategist/radio/possible.py: range(len(self.levels_dbm) - 1, -1, -1)  →  "
    "range(len(self.levels_dbm) - 1, -2, -1)": "no level below a first read is the highest",
    "strategist/survey/build.py: shift.step > 0  →  shift.step >= 0": (
        "a shift is by one, up or down"
    ),
    "strategist/survey/build.py: assume_unique=True  →  assume_unique=False": (
        "they are unique, which is then looked for"
    ),
    "strategist/survey/profile.py: _UNTRIED = 1000000000.0  →  _UNTRIED = 1000000001.0": (
        "a mark that no RSSI comes to"
    ),
    "strategist/survey/profile.py: (-1, -2)  →  (-1, -3)": "a mark that no role has",
    "strategist/survey/profile.py: bits >> 63  →  bits >> 64": (
        "numpy shifts by more than the width as by all of it"
    ),
    "strategist/survey/profile.py: inplace=True  →  inplace=False": "the same in a copy",
    "strategist/survey/profile.py: passes + 1  →  passes + 2": "an end more than is asked for",
    "strategist/survey/profile.py: np.arange(found.shape[1])[None, :] > level[:, None]  "
    "→  np.arange(found.shape[1])[None, :] >= level[:, None]": "at its turn-on a tag was read",
    "strategist/survey/numbering.py: self.step > 0  →  self.step >= 0": (
        "a shift is by one, up or down"
    ),
    "strategist/survey/numbering.py: 1 + max(roster[:, 1].max(initial=0), reads[:, "
    "2].max(initial=0))  →  2 + max(roster[:, 1].max(initial=0), reads[:, 2].max(initial=0))": (
        "any number above the tags' serves"
    ),
    "strategist/survey/numbering.py: initial=0  →  initial=1": (
        "any number above the others serves"
    ),
    "strategist/survey/numbering.py: 1 + level.max(initial=0)  →  2 + level.max(initial=0)": (
        "any number above the levels' serves"
    ),
    "strategist/survey/numbering.py: np.diff(several, prepend=-1)  →  np.diff(several, "
    "prepend=-2)": "numbers begin with 0",
    "strategist/survey/numbering.py: better.max(initial=-1)  →  better.max(initial=+1)": (
        "asked for where there are three such passes"
    ),
    "strategist/survey/numbering.py: better.max(initial=-1)  →  better.max(initial=-2)": (
        "asked for where there are three such passes"
    ),
    "strategist/survey/rssi.py: _STEPS = 8  →  _STEPS = 9": "the digits are all there before",
    "strategist/survey/rssi.py: power - power.mean()  →  power + power.mean()": (
        "where the line is begun moves neither offset nor its error"
    ),
    "strategist/survey/rssi.py: 2 / math.sqrt(freedom)  →  3 / math.sqrt(freedom)": (
        "where Newton's method begins"
    ),
    "strategist/survey/rssi.py: freedom + 1  →  freedom + 2": (
        "every other number, so that none is added"
    ),
    "strategist/survey/findings.py: round(abs(first - top), 6)  →  round(abs(first - top), 7)": (
        "levels have no seventh decimal"
    ),
    "strategist/survey/findings.py: level > 0  →  level >= 0": "the first count is left out",
    "strategist/survey/findings.py: one.offset_db > 0  →  one.offset_db >= 0": (
        "an offset that is real is not 0"
    ),
    "strategist/survey/soundness.py: len(survey.pass_ids) + 1  →  len(survey.pass_ids) + 2": (
        "an end more than is asked for"
    ),
    "strategist/survey/suspected.py: steps[0]  →  steps[1]": (
        "steps that are near one of them are near each other"
    ),
    "strategist/intake/delimited.py: max(rows.find('\\n'), 0) or None  →  "
    "max(rows.find('\\n'), 0) and None": "the careful parser then comes to the same",
    "strategist/survey/suspected.py: even[0]  →  even[1]": "all are the same",
    "strategist/survey/suspected.py: even[0] > 0  →  even[0] >= 0": (
        "levels that differ are not the same half dBm rounded"
    ),
    "strategist/survey/rows.py: np.abs(power - nearest) <= MW_WITHIN_DB + 10.0 ** "
    "(-DECIMALS)  →  np.abs(power - nearest) < MW_WITHIN_DB + 10.0 ** (-DECIMALS)": _NEVER_EQUAL,
    "strategist/survey/rows.py: 10.0 ** (-DECIMALS)  →  11.0 ** (-DECIMALS)": (
        "half a millionth of a dB"
    ),
    "strategist/survey/rows.py: len(used) < len(column.values)  →  len(used) <= "
    "len(column.values)": "where all are used each is its own place",
    "strategist/survey/tried.py: round(abs(nearest - power[row]), 6)  →  "
    "round(abs(nearest - power[row]), 7)": "levels have no seventh decimal",
    "strategist/survey/tried.py: np.full(len(power), -1)  →  np.full(len(power), +1)": (
        "without levels there is a fault, and nothing is built"
    ),
    "strategist/survey/tried.py: np.full(len(power), -1)  →  np.full(len(power), -2)": (
        "without levels there is a fault, and nothing is built"
    ),
    "strategist/survey/tried.py: index[off] = -1  →  index[off] = +1": (
        "where a level is none of them there is a fault, and nothing is built"
    ),
    "strategist/survey/tried.py: index[off] = -1  →  index[off] = -2": (
        "where a level is none of them there is a fault, and nothing is built"
    ),
    "strategist/survey/many.py: 2 ** 62  →  2 ** 63": _SAME_ANSWER,
    "strategist/survey/many.py: _SPARSE = 16  →  _SPARSE = 17": _SAME_ANSWER,
    "strategist/survey/many.py: below > _SPARSE * len(numbers)  →  not below > _SPARSE * "
    "len(numbers)": _SAME_ANSWER,
    "strategist/survey/many.py: below > _SPARSE * len(numbers)  →  below >= _SPARSE * "
    "len(numbers)": _SAME_ANSWER,
    "strategist/survey/many.py: int(place.max(initial=0)) + 1  →  "
    "int(place.max(initial=0)) - 1": _SAME_ANSWER,
    "strategist/survey/many.py: int(place.max(initial=0)) + 1  →  "
    "int(place.max(initial=0)) + 2": _SAME_ANSWER,
    "strategist/survey/many.py: initial=0  →  initial=1": _SAME_ANSWER,
    "strategist/survey/many.py: max(len(values), 1)  →  max(len(values), 2)": _SAME_ANSWER,
    "strategist/survey/many.py: most > _MOST  →  most >= _MOST": _SAME_ANSWER,
    "strategist/survey/many.py: whole[1:] >= whole[:-1]  →  whole[1:] > whole[:-1]": (
        "equal rows may come in any order"
    ),
    "strategist/survey/many.py: cell[:-1]  →  cell[:+1]": "they are then sorted though in order",
    "strategist/survey/many.py: (cell[1:] > cell[:-1]) | same & (rssi[1:] >= rssi[:-1])  "
    "→  (cell[1:] > cell[:-1]) & (same & (rssi[1:] >= rssi[:-1]))": (
        "they are then sorted though in order"
    ),
    "strategist/survey/many.py: rssi[1:] >= rssi[:-1]  →  rssi[1:] > rssi[:-1]": (
        "they are then sorted though in order"
    ),
    "strategist/survey/plain_csv.py: PIECE = 32000000  →  PIECE = 32000001": _SAME_ANSWER,
    "strategist/survey/tables.py: (1, 0, [])  →  (2, 0, [])": (
        "a file without a record was refused before"
    ),
    "strategist/survey/tables.py: (1, 0, [])  →  (1, 1, [])": (
        "a file without a record was refused before"
    ),
    "strategist/survey/tables.py: np.empty(0, np.int64)  →  np.empty(1, np.int64)": (
        "a table without columns is a fault"
    ),
    "strategist/radio/complete.py: np.cumsum(tried, axis=1) % 2 == parity  →  "
    "np.cumsum(tried, axis=1) % 2 != parity": "both halves are hidden in turn",
    "strategist/tags/epc.py: bits >= 12  →  bits >= 13": ("hex of whole bytes has 8 or 16 bits"),
    "strategist/tags/epc.py: 0 if scheme.key is None else value >> bits - _PARTITION_END & 7  "
    "→  1 if scheme.key is None else value >> bits - _PARTITION_END & 7": (
        "a scheme without a key has the same parts whatever the partition"
    ),
    "strategist/tags/fields.py: value = 0  →  value = 1": (
        "what stands before the bits asked for is cut off"
    ),
    "strategist/tags/fields.py: recorded[1] <= REACH_BITS  →  recorded[1] < REACH_BITS": (
        "of as many bits all are within reach"
    ),
    "strategist/tags/fields.py: REACH_BITS + bank_start(bank)  →  REACH_BITS - bank_start(bank)": (
        "an EPC has 496 bits at most"
    ),
    "strategist/tags/fields.py: beyond <= 0  →  beyond <= 1": (
        "what is recorded ends on a whole byte"
    ),
    "strategist/tags/fields.py: beyond < field.length  →  beyond <= field.length": (
        "no field begins there"
    ),
    "strategist/tags/candidates.py: _KEPT = 8  →  _KEPT = 9": "how many answers are kept",
    "strategist/tags/candidates.py: stop - self.step  →  stop + self.step": (
        "no tag has bits behind its end"
    ),
    "strategist/tags/candidates.py: stop - self.step + 1  →  stop - self.step + 2": (
        "no tag has bits behind its end"
    ),
    "strategist/tags/candidates.py: len(self.tags) // 8  →  len(self.tags) * 8": (
        "more bytes than are read"
    ),
    "strategist/tags/candidates.py: len(self.tags) // 8 + 1  →  len(self.tags) // 8 + 2": (
        "more bytes than are read"
    ),
    "strategist/tags/candidates.py: tag_class.reshape(-1)  →  tag_class.reshape(-2)": (
        _LENGTH_LEFT
    ),
    "strategist/tags/candidates.py: 1 if fields else 2  →  1 if fields else 3": (
        "a rank behind the others"
    ),
    "strategist/tags/meaning.py: stop - begin > _BYTE  →  stop - begin >= _BYTE": (
        "all tags are alike in no byte at all"
    ),
    "strategist/tags/meaning.py: term < 1e-15 * tail  →  term <= 1e-15 * tail": _NEVER_EQUAL,
    "strategist/intake/clock.py: _SAMPLED = 20000  →  _SAMPLED = 20001": (
        "how many reads are looked at"
    ),
    "strategist/intake/clock.py: (day, 0)  →  (day, 1)": "a millionth of a second",
    "strategist/intake/clock.py: (0, day)  →  (1, day)": "a millionth of a second",
    "strategist/tags/schemes.py: self.parts(0)  →  self.parts(1)": (
        "the partition parts the same bits otherwise"
    ),
    "strategist/tags/uri.py: scheme.parts(0)  →  scheme.parts(1)": (
        "the parts have the same names"
    ),
    "strategist/tags/uri.py: len(c) > 1  →  len(c) > 2": (
        "a character is one mark, or % and two digits"
    ),
    "strategist/tags/left_out.py: (0, 0, 0)  →  (0, 0, 1)": (
        "of one bit no prefix is longer than a mask may be"
    ),
    "strategist/tags/read_back.py: inside[184][:5]  →  inside[184][:6]": "it has five bytes",
    "strategist/tags/telling.py: apart[best] < TELLS  →  apart[best] <= TELLS": _NEVER_EQUAL,
    "strategist/intake/times.py: regex=False  →  regex=True": (
        "a comma stands for itself either way"
    ),
    "strategist/intake/times.py: parts[0]  →  parts[1]": ("of a date all parts are there, or none"),
    "strategist/intake/times.py: parts[3]  →  parts[4]": (
        "of a time of day both are there, or none"
    ),
    "strategist/intake/times.py: _LONG = 64  →  _LONG = 65": "nobody writes a time that long",
    "strategist/intake/times.py: len(text) <= _LONG  →  len(text) < _LONG": (
        "nobody writes a time that long"
    ),
    "strategist/intake/times.py: _LAYOUTS_MAX = 1000  →  _LAYOUTS_MAX = 1001": (
        "no column has as many layouts"
    ),
    "strategist/intake/times.py: np.abs(microseconds) < 9e+18  →  np.abs(microseconds) "
    "<= 9e+18": _NEVER_EQUAL,
    "strategist/intake/times.py: characters >= 48  →  characters > 48": (
        "values are then read in more groups"
    ),
    "strategist/intake/times.py: characters >= 48  →  characters >= 49": (
        "values are then read in more groups"
    ),
    "strategist/intake/times.py: characters <= 57  →  characters < 57": (
        "values are then read in more groups"
    ),
    "strategist/intake/recognise.py: list(dict.fromkeys(values))[:500]  →  "
    "list(dict.fromkeys(values))[:501]": "how many values are looked at",
    "strategist/intake/delimited.py: (width - 1) * count  →  (width - 1) / count": (
        "the careful parser then comes to the same"
    ),
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
    "strategist/survey/variation.py: total < _EQUAL_DB2  →  total <= _EQUAL_DB2": _NEVER_EQUAL,
    "strategist/optimise/scores.py: Parts((Part((), 0, problem),), 1, 0)  →  Parts((Part((), 0, "
    "problem),), 1, 1)": "of a single score it is never told how many others hear the same",
    "strategist/optimise/own_part.py: clock.left / (len(dwells) - number)  →  clock.left * "
    "(len(dwells) - number)": "a share of the time, and each goes on while any is left",
    "strategist/trust/unseen.py: len(names) > 1  →  len(names) >= 1": (
        "without the only kind of item no tag is left, so no part is made"
    ),
    "strategist/trust/by_pass.py: 1 + confidence  →  1 - confidence": (
        "Student's t is symmetric: two quantiles and their mirror images have the same ratio"
    ),
    "strategist/trust/worst_case.py: drift - extra <= 0 <= drift + extra  →  drift - extra < 0 "
    "<= drift + extra": ("an error that takes the drift back to 0 ends at the step itself"),
    "strategist/trust/worst_case.py: 10.0 ** (-DECIMALS) / 2  →  10.0 ** (-DECIMALS) / 3": (
        "drifts are rounded to that many decimals"
    ),
    "strategist/trust/guarded.py: which.reshape(-1)  →  which.reshape(-2)": _LENGTH_LEFT,
    "strategist/answers/frontier.py: whole.survey.levels_dbm[-1]  →  whole.survey.levels_dbm[+1]": (
        "which strategy is tried to see what one takes"
    ),
    "strategist/answers/frontier.py: whole.survey.levels_dbm[-1]  →  whole.survey.levels_dbm[-2]": (
        "which strategy is tried to see what one takes"
    ),
    "strategist/answers/frontier.py: answer.key[3:]  →  answer.key[4:]": (
        "`finish` looks at the first three"
    ),
    "strategist/answers/frontier.py: _OWN_SHARE * clock.left  →  _OWN_SHARE / clock.left": (
        "how a time limit is shared"
    ),
    "strategist/answers/run_sheet.py: passes + 1  →  passes + 2": (
        "a name more than there are passes"
    ),
    "strategist/answers/plan.py: np.where(left.any(axis=1), doubt.sum(axis=0), -1.0)  →  "
    "np.where(left.any(axis=1), doubt.sum(axis=0), -2.0)": ("less than any doubt, either way"),
    "strategist/answers/solution.py: weighed is not None and bounds  →  weighed is not None or "
    "bounds": ("over separate conditions are all solutions at a read point, or none"),
    "strategist/answers/what_if.py: over is not None and first.per_pass is not None  →  over "
    "is not None or first.per_pass is not None": (
        "answers at one read point have both a loss a pass, or neither"
    ),
    "strategist/answers/compare.py: of_pass[0]  →  of_pass[1]": (
        "the sides of a pass have one pass id, and one side alone never differs"
    ),
    "strategist/answers/compare.py: loss <= most  →  loss < most": _NEVER_EQUAL,
    "strategist/answers/compare.py: loss + under_guard < least + guarded - _SAME_LOSS  →  loss "
    "+ under_guard <= least + guarded - _SAME_LOSS": _NEVER_EQUAL,
    "strategist/answers/contenders.py: strategies[0]  →  strategies[1]": (
        "what exceeds the limits is told by counts, whatever the strategy"
    ),
    "strategist/answers/contenders.py: 2 * SOLVED  →  2 / SOLVED": ("how a time limit is shared"),
    "strategist/answers/contenders.py: clock.left / (2 * SOLVED - k)  →  clock.left * (2 * "
    "SOLVED - k)": ("how a time limit is shared"),
    "strategist/answers/over.py: problem.below[0]  →  problem.below[1]": (
        "what stands there is no range of cutoffs, and never taken"
    ),
    "strategist/answers/over.py: [0, cutoff]  →  [1, cutoff]": (
        "what stands there is no range of cutoffs, and never taken"
    ),
    "strategist/answers/over.py: min(rival, least.value)  →  max(rival, least.value)": (
        "how far what is no better is sought"
    ),
    "strategist/answers/over.py: least.excess == 0  →  least.excess == 1": (
        "how far what is no better is sought"
    ),
    "strategist/answers/over.py: clock.left / (len(own) - number)  →  clock.left * (len(own) - "
    "number)": ("how a time limit is shared"),
    "strategist/answers/over.py: len(own) - number  →  len(own) + number": (
        "how a time limit is shared"
    ),
    "strategist/answers/over.py: abs(excess - found.excess) < _SAME  →  abs(excess - "
    "found.excess) <= _SAME": _NEVER_EQUAL,
    "strategist/answers/over.py: abs(at_worst - found.value) < _SAME  →  abs(at_worst - "
    "found.value) <= _SAME": _NEVER_EQUAL,
    "strategist/answers/conditions.py: answer.bound[1] / float(times.sum()) if answer.bound[0] "
    "== 0 else 0.0  →  answer.bound[1] / float(times.sum()) if answer.bound[0] == 0 else 1.0": (
        "where a strategy keeps the limits no bound exceeds them"
    ),
    "strategist/answers/conditions.py: len(masks) + 1  →  len(masks) + 2": (
        "without masks to choose the first counts"
    ),
    "strategist/optimise/conditions.py: bound > _FINEST  →  bound >= _FINEST": _NEVER_EQUAL,
    "strategist/trust/worst_case.py: 10.0 ** (-DECIMALS) / 2  →  10.0 ** (-DECIMALS) * 2": (
        "a drift of a millionth of a dB"
    ),
    "strategist/survey/variation.py: np.array(rows, float).reshape(-1, 6)  →  np.array(rows, "
    "float).reshape(-2, 6)": _LENGTH_LEFT,
    "strategist/survey/variation.py: kind.reshape(-1)  →  kind.reshape(-2)": _LENGTH_LEFT,
    "strategist/answers/contenders.py: both[one] += apart[rows, k, :, None] * told  →  "
    "both[one] -= apart[rows, k, :, None] * told": ("it is squared"),
    "strategist/answers/contenders.py: 2 * SOLVED  →  3 * SOLVED": ("how a time limit is shared"),
    "strategist/survey/occasions.py: weight.max() > PARTS  →  weight.max() >= PARTS": (
        "a largest weight of so many parts is counted in parts of itself"
    ),
    "strategist/trust/worst_case.py: EARLY * first[:, :end].any(axis=1) + NOW * first[:, end]  "
    "→  EARLY * first[:, :end].any(axis=1) - NOW * first[:, end]": (
        "what may be now counts alike, whether it may be early or not"
    ),
    "strategist/trust/worst_case.py: room - early  →  room + early": (
        "an end that this lets in is no worse than an earlier one (none of half a million "
        "drawn passes was)"
    ),
    "strategist/answers/contenders.py: rate <= most + _LEAST  →  rate < most + _LEAST": (
        _NEVER_EQUAL
    ),
    "strategist/trust/unseen.py: 2 * FOLDS  →  3 * FOLDS": ("how a time limit is shared"),
    "strategist/answers/solution.py: clock.left / 2  →  clock.left * 2": (
        "how a time limit is shared"
    ),
    "strategist/answers/techniques.py: per_pass is None or least is None  →  per_pass is None "
    "and least is None": ("answers at one read point have both a loss a pass, or neither"),
    "strategist/survey/variation.py: TRIED_MAX = 400  →  TRIED_MAX = 401": (
        "how many presentations are looked at"
    ),
    "strategist/trust/worst_case.py: abs(drift) < 10.0 ** (-DECIMALS) / 2  →  abs(drift) <= "
    "10.0 ** (-DECIMALS) / 2": _NEVER_EQUAL,
    "strategist/tags/meaning.py: count <= chance * tags  →  count < chance * tags": (
        "a count that is the mean is as likely as not"
    ),
    "strategist/intake/delimited.py: Counter((len(cells) for _, cells in split[len(split) // 2:]))"
    ".most_common(1)  →  Counter((len(cells) for _, cells in split[len(split) // 2:]))"
    ".most_common(2)": "the first of them is taken",
    "strategist/intake/delimited.py: (0.0, False)  →  (0.0, True)": "any share that counts is more",
    "strategist/intake/delimited.py: max(rows.find('\\n'), 0)  →  max(rows.find('\\n'), 1)": (
        "the careful parser then comes to the same"
    ),
    "strategist/batch/cross_reads.py: heard: int = 0  →  heard: int = 1": "always given",
    "strategist/intake/delimited.py: skip_blank_lines=False  →  skip_blank_lines=True": (
        "the careful parser then comes to the same"
    ),
    "strategist/intake/delimited.py: column.values.index(name) if name in column.values else -1  "
    "→  column.values.index(name) if name in column.values else -2": "no value has either number",
    "strategist/intake/read.py: len(epc_in(v, form)) > 124  →  len(epc_in(v, form)) > 125": (
        "hex of whole bytes has an even count"
    ),
    "strategist/intake/read.py: [text for text in dict.fromkeys(column.values) if text][:2000]  "
    "→  [text for text in dict.fromkeys(column.values) if text][:2001]": (
        "how many values are looked at"
    ),
    "strategist/intake/read.py: [text for text in joined if text][:2000]  →  [text for text in "
    "joined if text][:2001]": "how many values are looked at",
    "strategist/intake/delimited.py: _LOOKED_AT = 200  →  _LOOKED_AT = 201": (
        "how many lines are looked at"
    ),
    "strategist/intake/times.py: np.where(is_day, (year - 1970) * 12 + month - 1, 0)  →  "
    "np.where(is_day, (year - 1970) * 12 + month - 1, 1)": _UNASKED,
    "strategist/radio/possible.py: count > 1  →  count >= 1": (
        "a tag that was read once is not off its own mean"
    ),
    "strategist/radio/complete.py: round(math.ceil(round(10 * db, DECIMALS)) / 10, 1)  →  "
    "round(math.ceil(round(10 * db, DECIMALS)) / 10, 2)": "a tenth of a whole number",
    "strategist/intake/suspicions.py: np.diff(key, prepend=-1)  →  np.diff(key, prepend=-2)": (
        "numbers begin with 0"
    ),
    "strategist/intake/values.py: whole > behind  →  whole >= behind": (
        "equal shares were told apart before"
    ),
    "strategist/intake/presented.py: np.full(len(log), -1)  →  np.full(len(log), +1)": (
        "without a run sheet nobody asks for its rows"
    ),
    "strategist/intake/presented.py: np.abs(values - nearest) <= 0.0501  →  np.abs(values - "
    "nearest) < 0.0501": _NEVER_EQUAL,
    "strategist/intake/suspicions.py: np.nan_to_num(reads.antenna, nan=-1)  →  "
    "np.nan_to_num(reads.antenna, nan=-2)": "no antenna has either number",
    "strategist/radio/possible.py: 2 * kind  →  3 * kind": "numbers that stay apart",
    "strategist/intake/importing.py: Tally(len(self.log), kept, outside, without_epc, "
    "without_rssi, without_level, 0, 0, 0)  →  Tally(len(self.log), kept, outside, without_epc, "
    "without_rssi, without_level, 1, 0, 0)": "counted anew once the roster is known",
    "strategist/intake/importing.py: Tally(len(self.log), kept, outside, without_epc, "
    "without_rssi, without_level, 0, 0, 0)  →  Tally(len(self.log), kept, outside, without_epc, "
    "without_rssi, without_level, 0, 1, 0)": "counted anew once the roster is known",
    "strategist/intake/importing.py: Tally(len(self.log), kept, outside, without_epc, "
    "without_rssi, without_level, 0, 0, 0)  →  Tally(len(self.log), kept, outside, without_epc, "
    "without_rssi, without_level, 0, 0, 1)": "counted anew once the roster is known",
    "strategist/intake/presented.py: np.full(len(log), -1)  →  np.full(len(log), -2)": (
        "without a run sheet nobody asks for its rows"
    ),
    "strategist/intake/times.py: (number(11) * 60 + number(12)) * 60 * SECOND * (-1 if found[10] "
    "== '-' else 1)  →  (number(11) * 60 + number(12)) * 60 * SECOND / (-1 if found[10] == '-' "
    "else 1)": "by 1 or −1 both come to the same",
    "strategist/batch/prices.py: abs(found - given.loss) > _SAME * max(1.0, found)  →  abs(found - "
    "given.loss) >= _SAME * max(1.0, found)": _NEVER_EQUAL,
    "strategist/optimise/site/master.py: number % _ROWS == 0  →  number % _ROWS == 1": "at which "
    "rows it looks at the clock",
    "strategist/optimise/tree.py: archive.limit(node, 0)  →  archive.limit(node, 1)": _SAME_ANSWER,
    "api/store/tables.py: String(200)  →  String(201)": "what is longer was refused before",
    "strategist/optimise/front.py: self._tied = 0  →  self._tied = 1": _SAME_ANSWER,
    "strategist/optimise/frontier.py: floors > (most * (1 + _ROUNDING) + _ROUNDING)[:, None]  →  "
    "floors >= (most * (1 + _ROUNDING) + _ROUNDING)[:, None]": _NEVER_EQUAL,
    "strategist/optimise/frontier.py: excess=False  →  excess=True": (
        "which of the two is bounded is asked by a solve alone"
    ),
    "strategist/optimise/node.py: max(1, tuning.turns // max(1, 3 * self.cells.gain.size))  →  "
    "max(2, tuning.turns // max(1, 3 * self.cells.gain.size))": _SAME_ANSWER,
    "strategist/optimise/node.py: abs(limit) + abs(base) + float(np.abs(weight).sum())  →  "
    "abs(limit) + abs(base) - float(np.abs(weight).sum())": (
        "what is allowed for rounding is more than ample"
    ),
    "strategist/optimise/node.py: within < limit  →  within <= limit": (
        "a level that is kept though it need not be costs time alone"
    ),
}
