"""From a survey of a UHF RFID read point to the proven best power, ladder, cutoff and masks.

The names below are the library. Each is loaded when it is first used, so that importing the package
costs nothing (numpy, pandas and the solver together take most of a second).
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

from strategist.errors import (
    DisagreementError,
    Fault,
    InputError,
    MalformedError,
    SolveError,
    StrategistError,
)

if TYPE_CHECKING:
    from strategist.answers.accept import AcceptanceRun, accept
    from strategist.answers.assessment import Assessment, assess, choose
    from strategist.answers.check import Checked, CheckedCase, check
    from strategist.answers.compare import Comparison, Side, compare
    from strategist.answers.compromises import Frontier, FrontierPoint, trace_frontier
    from strategist.answers.masks import MaskList, list_masks
    from strategist.answers.repeated import Judged, judge
    from strategist.answers.settings import Settings, settings_of
    from strategist.answers.solution import Options, Solution, solve
    from strategist.answers.techniques import Techniques, compare_techniques
    from strategist.answers.what_if import WhatIf, WhatIfs, usual_what_ifs, what_if
    from strategist.batch.coupling import Coupling, coupling_of, tags_of
    from strategist.batch.run import Progress, run_batch
    from strategist.batch.summary import Summary
    from strategist.batch.tables import safe_cell
    from strategist.batch.templates import SiteTemplates, site_templates, templates_of
    from strategist.batch.templates_text import templates_text
    from strategist.optimise.strategy import Strategy, read_strategy
    from strategist.optimise.strategy_file import StrategyFile, parse_strategy_file
    from strategist.optimise.templates import Templates, choose_templates, template_curve
    from strategist.questions import CHANGES_MAX, QUESTIONS, Asked, Kept, Parameter, Question
    from strategist.radio.complete import complete
    from strategist.radio.lawful import PowerLimit, power_limit
    from strategist.radio.regions import region_named
    from strategist.report.acceptance import acceptance_text, plan_text
    from strategist.report.comparison import comparison_text
    from strategist.report.document import Backing, report_document
    from strategist.report.given_results import GivenResult, parse_frontier, parse_results
    from strategist.report.judged import judged_text
    from strategist.report.lists import check_text, masks_text, settings_text
    from strategist.report.output import refuse_target, write_whole
    from strategist.report.page import page_policy, report_page
    from strategist.report.plots import can_plot
    from strategist.report.standing import power_limit_text
    from strategist.report.text import evaluation_text, result_text
    from strategist.report.trade_offs import frontier_text, techniques_text
    from strategist.report.what_if import what_if_text, what_ifs_text
    from strategist.survey.case import Bounds, Case
    from strategist.survey.findings import Finding
    from strategist.survey.json_text import parse_json, refuse_values
    from strategist.survey.policy import Dwell, Loss, Policy, Radio, Site
    from strategist.survey.reading import (
        CaseDocument,
        read_case,
        read_case_document,
        read_case_files,
        read_file,
        read_text,
    )
    from strategist.survey.records import ReadPoint, Survey, Tag
    from strategist.tags.candidates import forget_candidates
    from strategist.tags.mask import Mask
    from strategist.tags.power_table import PowerTable, read_power_table
    from strategist.trust.acceptance import AcceptancePlan, plan_acceptance
    from strategist.trust.diagnosis import diagnose
    from strategist.trust.evaluate import Outcome, evaluate
    from strategist.trust.evaluation import Evaluation, evaluate_at
    from strategist.trust.guarded import GuardedOutcome, guarded_loss, guarded_outcome
    from strategist.trust.rate_limit import RATE_LIMIT

__version__ = "0.2.0"

__all__ = [
    "CHANGES_MAX",
    "QUESTIONS",
    "RATE_LIMIT",
    "AcceptancePlan",
    "AcceptanceRun",
    "Asked",
    "Assessment",
    "Backing",
    "Bounds",
    "Case",
    "CaseDocument",
    "Checked",
    "CheckedCase",
    "Comparison",
    "Coupling",
    "DisagreementError",
    "Dwell",
    "Evaluation",
    "Fault",
    "Finding",
    "Frontier",
    "FrontierPoint",
    "GivenResult",
    "GuardedOutcome",
    "InputError",
    "Judged",
    "Kept",
    "Loss",
    "MalformedError",
    "Mask",
    "MaskList",
    "Options",
    "Outcome",
    "Parameter",
    "Policy",
    "PowerLimit",
    "PowerTable",
    "Progress",
    "Question",
    "Radio",
    "ReadPoint",
    "Settings",
    "Side",
    "Site",
    "SiteTemplates",
    "Solution",
    "SolveError",
    "StrategistError",
    "Strategy",
    "StrategyFile",
    "Summary",
    "Survey",
    "Tag",
    "Techniques",
    "Templates",
    "WhatIf",
    "WhatIfs",
    "accept",
    "acceptance_text",
    "assess",
    "can_plot",
    "check",
    "check_text",
    "choose",
    "choose_templates",
    "compare",
    "compare_techniques",
    "comparison_text",
    "complete",
    "coupling_of",
    "diagnose",
    "evaluate",
    "evaluate_at",
    "evaluation_text",
    "forget_candidates",
    "frontier_text",
    "guarded_loss",
    "guarded_outcome",
    "judge",
    "judged_text",
    "list_masks",
    "masks_text",
    "page_policy",
    "parse_frontier",
    "parse_json",
    "parse_results",
    "parse_strategy_file",
    "plan_acceptance",
    "plan_text",
    "power_limit",
    "power_limit_text",
    "read_case",
    "read_case_document",
    "read_case_files",
    "read_file",
    "read_power_table",
    "read_strategy",
    "read_text",
    "refuse_target",
    "refuse_values",
    "region_named",
    "report_document",
    "report_page",
    "result_text",
    "run_batch",
    "safe_cell",
    "settings_of",
    "settings_text",
    "site_templates",
    "solve",
    "tags_of",
    "techniques_text",
    "template_curve",
    "templates_of",
    "templates_text",
    "trace_frontier",
    "usual_what_ifs",
    "what_if",
    "what_if_text",
    "what_ifs_text",
    "write_whole",
]

_LATE = {
    "answers.accept": ("AcceptanceRun", "accept"),
    "answers.assessment": ("Assessment", "assess", "choose"),
    "answers.check": ("Checked", "CheckedCase", "check"),
    "answers.compare": ("Comparison", "Side", "compare"),
    "answers.compromises": ("Frontier", "FrontierPoint", "trace_frontier"),
    "answers.masks": ("MaskList", "list_masks"),
    "answers.repeated": ("Judged", "judge"),
    "answers.settings": ("Settings", "settings_of"),
    "answers.solution": ("Options", "Solution", "solve"),
    "answers.techniques": ("Techniques", "compare_techniques"),
    "answers.what_if": ("WhatIf", "WhatIfs", "usual_what_ifs", "what_if"),
    "batch.coupling": ("Coupling", "coupling_of", "tags_of"),
    "batch.run": ("Progress", "run_batch"),
    "batch.summary": ("Summary",),
    "batch.tables": ("safe_cell",),
    "batch.templates": ("SiteTemplates", "site_templates", "templates_of"),
    "batch.templates_text": ("templates_text",),
    "optimise.strategy": ("Strategy", "read_strategy"),
    "optimise.strategy_file": ("StrategyFile", "parse_strategy_file"),
    "optimise.templates": ("Templates", "choose_templates", "template_curve"),
    "questions": ("CHANGES_MAX", "QUESTIONS", "Asked", "Kept", "Parameter", "Question"),
    "radio.complete": ("complete",),
    "radio.lawful": ("PowerLimit", "power_limit"),
    "radio.regions": ("region_named",),
    "report.acceptance": ("acceptance_text", "plan_text"),
    "report.comparison": ("comparison_text",),
    "report.document": ("Backing", "report_document"),
    "report.given_results": ("GivenResult", "parse_frontier", "parse_results"),
    "report.judged": ("judged_text",),
    "report.lists": ("check_text", "masks_text", "settings_text"),
    "report.output": ("refuse_target", "write_whole"),
    "report.page": ("page_policy", "report_page"),
    "report.plots": ("can_plot",),
    "report.standing": ("power_limit_text",),
    "report.text": ("evaluation_text", "result_text"),
    "report.trade_offs": ("frontier_text", "techniques_text"),
    "report.what_if": ("what_if_text", "what_ifs_text"),
    "survey.case": ("Bounds", "Case"),
    "survey.findings": ("Finding",),
    "survey.json_text": ("parse_json", "refuse_values"),
    "survey.policy": ("Dwell", "Loss", "Policy", "Radio", "Site"),
    "survey.reading": (
        "CaseDocument",
        "read_case",
        "read_case_document",
        "read_case_files",
        "read_file",
        "read_text",
    ),
    "survey.records": ("ReadPoint", "Survey", "Tag"),
    "tags.candidates": ("forget_candidates",),
    "tags.mask": ("Mask",),
    "tags.power_table": ("PowerTable", "read_power_table"),
    "trust.acceptance": ("AcceptancePlan", "plan_acceptance"),
    "trust.diagnosis": ("diagnose",),
    "trust.evaluate": ("Outcome", "evaluate"),
    "trust.evaluation": ("Evaluation", "evaluate_at"),
    "trust.guarded": ("GuardedOutcome", "guarded_loss", "guarded_outcome"),
    "trust.rate_limit": ("RATE_LIMIT",),
}
_HOME = {name: module for module, names in _LATE.items() for name in names}


def __getattr__(name: str) -> Any:
    """Load a public name from the module it lives in."""
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    found = getattr(importlib.import_module(f"{__name__}.{_HOME[name]}"), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return sorted([*__all__, "__version__"])
