"""Do wanted and stray tags differ in data? The one field that tells most, as a finding.

A tag counts once in each role that it had, however often it was presented.
"""

from __future__ import annotations

import numpy as np

from strategist.survey.findings import Found
from strategist.survey.order import cent
from strategist.survey.policy import Policy
from strategist.survey.records import Survey
from strategist.tags.candidates import find_candidates
from strategist.tags.fields import long_banks

TELLS = 0.05  # rejected strays minus rejected wanted, as shares, from which a field is named


def data_findings(survey: Survey, policy: Policy) -> Found:
    """Memory that no mask looks at, and the candidate that rejects most strays for the wanted tags
    it costs."""
    for text in long_banks(survey.tags):
        yield "note", "data_beyond", text, "A mask on later bits has to be written by hand."
    wanted = survey.roster_wanted
    if not wanted.any() or wanted.all():
        return
    candidates = find_candidates(survey.tags, policy.reader, serial_masks=policy.serial_masks)
    advice = "Masks cannot separate them: power, ladder and cutoff have to."
    if not candidates.masks:
        text = "Data: no field differs between the tags seen here."
        yield "note", "data_alike", text, advice
        return
    kept, through = (
        candidates.matches[:, candidates.tag_class[np.unique(survey.roster_tag[role])]].mean(axis=1)
        for role in (wanted, ~wanted)
    )
    apart = np.concatenate([kept - through, through - kept])
    best = int(apart.argmax())
    mask, negated = best % len(kept), best >= len(kept)
    keeps, passes = (1 - kept, 1 - through) if negated else (kept, through)
    words = candidates.words[mask]
    if apart[best] < TELLS:
        text = "Data: no single field tells wanted from stray tags."
        yield "note", "data_alike", text, advice
        return
    shares = f"{cent(keeps[mask])} of wanted and {cent(passes[mask])} of stray tags"
    text = f"Data: {words} is carried by {shares}."
    if negated:
        text = f"Data: {shares} do not carry {words}."
    if keeps[mask] == 1 and passes[mask] == 0:
        yield (
            "note",
            "data_parts",
            text,
            "A mask on it separates them, as long as tags are numbered as now.",
        )
    else:
        advice = "A mask on it helps; the remaining strays need power, ladder or cutoff."
        yield "note", "data_helps", text, advice
