"""The tree: nodes are relaxed and bounded, tightened, listed or split, whatever is still wanted.

A node (`node.Node`) is a cutoff with some levels settled as steps of the ladder or left out,
and some tag classes settled in or out. It is closed where its bound leaves no room in the archive,
or by listing the chains that its cuts leave and replaying the ladders that bounds leave of each.
Where that is too much it is split; where it cannot be split it stays open with its bound.

**The relaxation.** Let S be a set of tag classes let through, s a ladder, c the cutoff, K_p the
classes in pass group p, and f_p(s, S ∩ K_p) what p adds to the objective, so that it is
F(s, S) = Σ_p f_p(s, S ∩ K_p). For multipliers λ_pk with Σ_p λ_pk = 0 for each class k

    min_{s,S} F(s, S) ≥ min_s Σ_p min_{S_p ⊆ K_p} [ f_p(s, S_p) + Σ_{k ∈ S_p} λ_pk ]

(Lagrangian decomposition: each pass has its own copy S_p of S, and the multipliers price that the
copies are equal; for S_p = S ∩ K_p the prices cancel, so the right side is one of the values that
it minimises over, at most F). Nothing here speaks of masks: the bound holds for chains of any
length. Weights Σ_p λ_pk = −w_k in place of 0 give a bound linear in the classes, a *cut*:
F(s, S) ≥ base + Σ_{k ∈ S} w_k for all S of the node.

**Steps** (`kernel._step_costs`). Let t_p, the turn, be the lowest level at which the classes not
out of S hold `stop_after` tags by then; p cannot stop below it. On a ladder u₁ < … < u_n let u_j be
the lowest step at or above t_p. If there is none, or it is the top, p ends at the top and costs at
least C_p(u_n), where C_p = base + Σ_in gain + Σ_open min(0, gain + λ): each open class is let
through or not, whichever is less. Else p stops at u_j and costs at least C_p(u_j); or it walks on,
and then no class that would have stopped it there is let through (with `stop_after` 1: no open
class accepted at u_j), and it ends at some level above, up to the first that must be a step and
stops it for sure. The least of these depends on (u_{j−1}, u_j) alone: on which arc of the ladder
the turn lies. So the sum over passes is a sum over arcs, and the least ladder a shortest path of at
most `steps_max` arcs (`kernel.best_ladder`).

**Penalties** (`kernel.penalties_of`). Fix λ and a level q at which p may end. To force open class k
in costs max(0, gain_k(q) + λ_pk) more than the minimum above, which had the choice; to force it out
costs max(0, −gain_k(q) − λ_pk). The least over all q at which p may end holds whichever it is,
and penalties of different classes add up, since C_p is a sum over them. One care: where k is
accepted at a step below q, the bound of walking on past that step was taken without k already, so
to keep k out is no loss there: a class without which a pass walks on may cost nothing.
"""

from __future__ import annotations

import numpy as np

from strategist.optimise.archive import Archive, Replayed
from strategist.optimise.cells import Layout
from strategist.optimise.chains import Chains, TooManyLeftError
from strategist.optimise.clock import Clock, OutOfTimeError
from strategist.optimise.kernel import best_ladder, bounds_of, step_costs
from strategist.optimise.ladders import in_order
from strategist.optimise.measures import Aim
from strategist.optimise.node import Node, Penalties, strongest
from strategist.optimise.problem import Problem
from strategist.optimise.selections import Selections
from strategist.survey.records import Floats, Ints

__all__ = ["Tree"]

_SLACK = 1e-6


class Tree:
    """One read point's nodes and chains, and what was done so far."""

    def __init__(self, problem: Problem, clock: Clock, chains: Chains | None = None) -> None:
        self.problem = problem
        self.tuning = problem.tuning
        self.guarded = problem.under_guard()
        self.layout = Layout(problem)
        self.chains = chains or Chains(problem, clock)
        self.set_clock(clock)
        self.nodes = self.weighed = self.replayed = 0
        self._few: dict[int, bool] = {}

    def set_clock(self, clock: Clock) -> None:
        """Whatever the tree does looks at this clock from now on; nodes at that of their making."""
        self.clock = self.chains.clock = clock

    @property
    def effort(self) -> dict[str, int]:
        return {"branches": self.nodes, "chains": self.weighed, "replayed": self.replayed}

    def node(self, cutoff: int, aim: Aim, layout: Layout | None = None) -> Node:
        """All ladders under a cutoff."""
        every = np.arange(len(self.problem.profile.levels_dbm))
        must = (every == every[-1]) & self.problem.top_fixed | self.problem.whole_ladder
        return Node(layout or self.layout, aim, cutoff, every, must, clock=self.clock)

    def reach(self, longest: int) -> int:
        """The most masks, up to so many, of chains that can all be looked at."""
        return max(n for n in range(longest + 1) if self.chains.reaches(n))

    def are_few(self, longest: int) -> bool:
        """Whether chains of up to so many masks are sooner weighed one by one."""
        if longest not in self._few:
            self._few[longest] = self.chains.number(self.tuning.few, longest) <= self.tuning.few
        return self._few[longest]

    def explore(self, node: Node, archive: Archive, longest: int) -> bool:
        """Close a node by looking at the chains of up to so many masks that its bounds leave;
        False: better split it."""
        many = np.inf if node.must.all() else self.tuning.many * (50 + len(node.state))
        cuts = self._cuts(node, archive, longest)
        for masks in range(node.done + 1, longest + 1):
            limit = archive.limit(node, masks)
            try:
                selections = self.chains.worth(cuts, limit, masks)
            except TooManyLeftError:
                return False
            if len(selections) > archive.enough:
                selections = node.sieve(selections, limit)
            if len(selections) > many:
                return False
            self.look(selections, node, archive)
            node.done = masks
        return True

    def _cuts(self, node: Node, archive: Archive, longest: int) -> list[Penalties]:
        """Linear bounds aimed at the longest of the chains; they hold for all."""
        limit, sample = archive.limit(node, 0), self.chains.sample(longest)
        cuts, left = node.penalties(), sample
        for cut in cuts:
            left = cut.within(left, limit)
        if len(left) <= archive.enough:
            return cuts
        return strongest([*cuts, *node.cuts(left, limit)], sample, limit, self.tuning)

    def look_at_all(self, node: Node, archive: Archive, longest: int) -> None:
        """Close a node by looking at every chain of up to so many masks, of which there are few;
        those that may be as good as the best are remembered for the next goal."""
        for masks in range(node.done + 1, longest + 1):
            if masks == len(node.even):
                node.even.append(self.chains.listed(masks))
            node.even[masks] = self.look(node.even[masks], node, archive)
            node.done = masks

    def look(self, selections: Selections, node: Node, archive: Archive) -> Selections:
        """Replay what is wanted of some selections, with the ladders of a node; returns those that
        bounds leave, with what is as good as what is known."""
        node, left = archive.ladders(node), []
        for start in range(0, len(selections), self.tuning.at_once):
            rows = np.arange(start, min(start + self.tuning.at_once, len(selections)))
            self.weighed += len(rows)
            left.append(start + self._look_at(selections.at(rows), node, archive))
        return selections.at(np.concatenate(left)) if left else selections

    def _look_at(self, part: Selections, node: Node, archive: Archive) -> Ints:
        policy, steps = self.problem.policy, self.problem.steps_by_masks[part.masks]
        rows, room = archive.fresh(part, node.cutoff), archive.room()
        bounds = np.zeros((0, len(rows)))
        for number, cells in enumerate(archive.tables(node)):
            if not archive.empty and self.clock.expired():
                raise OutOfTimeError
            limit = float(room[number].max(initial=-np.inf)) + _SLACK
            state = part.unpack(rows).astype(np.int64)
            found = bounds_of(state, cells, policy.stop_after, steps, node.must, limit)
            bounds = np.vstack([bounds, found])
            rows, bounds = rows[found <= limit], bounds[:, found <= limit]
        if node.cutoff < node.highest:
            return rows  # ladders are replayed under one cutoff
        work = (float(part.masks), float(node.cutoff > 0), 1.0)
        for place in np.lexsort((part.bits[rows], *archive.order(bounds))):
            room = archive.room(*work)
            if (bounds[:, place, None] <= room[: len(bounds)] + _SLACK).all(axis=0).any():
                self.ladders(part, int(rows[place]), node, archive)
        return rows

    def ladders(
        self, part: Selections, row: int, node: Node, archive: Archive, *, likely: bool = False
    ) -> float:
        """Replay the ladders of one selection, in order of preference, where bounds leave any.

        The one of least bound comes first: as a rule it is the best, and bounds leave few others.
        `likely`: that one alone. Returns its bound by the first measure.
        """
        problem, levels = self.problem, node.levels
        most = problem.steps_by_masks[part.masks]
        through = part.unpack(np.array([row]))[0]
        state, stop_after = through.astype(np.int64), problem.policy.stop_after
        costs = archive.steps(
            [
                step_costs(state, np.zeros(len(cells.klass)), cells, stop_after, node.must)[:2]
                for cells in archive.tables(node)
            ]
        )
        work = (float(part.masks), float(node.cutoff > 0))
        thresholds = problem.thresholds
        self.replayed += 1

        def drifted(ladders: Ints, cutoff: int) -> Ints:
            return self.guarded.counts(ladders, thresholds[cutoff], through)

        def replay(places: Ints) -> None:
            ladders = levels[places]
            archive.offer(
                Replayed(
                    ladders,
                    problem.counts(ladders, thresholds[node.cutoff], through),
                    work,
                    float(part.bits[row]),
                    node.cutoff,
                    lambda: part.chain(row),
                    lambda some, cutoff: drifted(ladders[some], cutoff),
                )
            )

        def room(count: int, places: tuple[int, ...]) -> Floats:
            return archive.room(*work, float(count), *levels[list(places)].tolist())

        def check() -> None:
            if not archive.empty:
                self.clock.check()

        least, first = best_ladder(*costs[0], most, node.must)
        if not self.tuning.likely_first:
            first = np.union1d(np.flatnonzero(node.must), [len(node.must) - 1])
        replay(first[None, ::-1])
        if not likely:
            at_once = self.tuning.ladders
            for places in in_order(costs, most, node.must, room, check, at_once=at_once):
                replay(places)
            archive.saw(part, row, node.cutoff)
        return least
