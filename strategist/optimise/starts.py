"""Good strategies to begin with: chains picked by what they do at single levels."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from strategist.optimise.chains import Chains
from strategist.optimise.problem import Problem
from strategist.optimise.selections import Selections, grow
from strategist.optimise.walks import changes_of
from strategist.survey.records import Floats, Ints

__all__ = ["Starts"]


class Starts:
    """At a single level without a ladder, loss is a sum over classes: a matrix product."""

    def __init__(self, problem: Problem, chains: Chains) -> None:
        self.problem = problem
        self.chains = chains
        tuning, last = problem.tuning, len(problem.thresholds) - 1
        cutoffs = np.unique(np.linspace(0, last, tuning.start_cutoffs).astype(int))
        self.changes = self._changes(cutoffs)
        self.cutoff = np.repeat(cutoffs, self.changes.shape[1] // len(cutoffs))
        self._beams: list[Selections] = []  # by number of masks

    def unmasked(self) -> int:
        """The cutoff that suits a chain without masks."""
        return int(self.cutoff[self.changes.sum(axis=0).argmin()])

    def _begin(self) -> None:
        """Keep the cutoffs and levels that suit some mask best."""
        best = self._losses(self.chains.listed(1)).min(axis=0)
        kept = np.argsort(best, kind="stable")[: self.problem.tuning.start_corners]
        self.changes, self.cutoff = self.changes[:, kept], self.cutoff[kept]
        self._beams = [self.chains.listed(0)]

    def _changes(self, cutoffs: Ints) -> Floats:
        """What letting a class through changes in the loss, under each of some cutoffs at each
        level that may be the top: shape (classes, cutoffs times levels)."""
        problem, profile, weights = self.problem, self.problem.profile, self.problem.policy.loss
        sign: Floats = np.where(profile.row_wanted, -weights.missed, weights.stray)
        rssi = profile.rssi[:, -1:] if problem.top_fixed else profile.rssi
        least = np.maximum(problem.thresholds[cutoffs], np.finfo(float).min)
        change: Floats = problem.row_weight * sign
        changed = changes_of(rssi, least, profile.row_class, change, profile.classes)
        return changed.reshape(profile.classes, -1)

    def _losses(self, selections: Selections) -> Floats:
        losses = np.empty((len(selections), self.changes.shape[1]))
        size = self.problem.tuning.at_once
        for start in range(0, len(selections), size):
            self.chains.clock.check()
            rows = slice(start, start + size)
            losses[rows] = selections.unpack(rows).astype(float) @ self.changes
        return losses

    def promising(self, masks: int) -> Iterator[tuple[Selections, int]]:
        """Chains of so many masks with the cutoff that suits them: those of fewer, grown."""
        if not self._beams:
            self._begin()
        for fewer in range(len(self._beams), masks + 1):
            self._beams.append(self._grown(fewer))
        beam = self._beams[masks]
        for row, best in enumerate(self._losses(beam).argmin(axis=1)):
            yield beam.at(np.array([row])), int(self.cutoff[best])

    def _grown(self, masks: int) -> Selections:
        """The beam of so many masks, from that of one fewer."""
        beam, more = self._beams[masks - 1], self.chains.listed(1)
        if masks > 1:
            longer = grow(beam, beam.words, self.chains.table, self.chains.clock)
            assert longer is not None
            more = longer
        rows: Ints = np.argsort(self._losses(more).min(axis=1), kind="stable")
        return more.at(rows[: self.problem.tuning.beam])
