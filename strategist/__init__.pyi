"""The public names of the library, each with the module it lives in: the one list of them.

A checker of types reads it as it is; at run time `__init__.py` reads it, and loads a name when it
is first used.
"""

from strategist.answers.accept import AcceptanceRun as AcceptanceRun
from strategist.answers.accept import accept as accept
from strategist.answers.assessment import (
    Assessment as Assessment,
)
from strategist.answers.assessment import (
    assess as assess,
)
from strategist.answers.assessment import (
    choose as choose,
)
from strategist.answers.check import Checked as Checked
from strategist.answers.check import CheckedCase as CheckedCase
from strategist.answers.check import check as check
from strategist.answers.compare import Comparison as Comparison
from strategist.answers.compare import Side as Side
from strategist.answers.compare import compare as compare
from strategist.answers.frontier import (
    Frontier as Frontier,
)
from strategist.answers.frontier import (
    FrontierPoint as FrontierPoint,
)
from strategist.answers.frontier import (
    trace_frontier as trace_frontier,
)
from strategist.answers.full_assessment import FullAssessment as FullAssessment
from strategist.answers.full_assessment import assess_fully as assess_fully
from strategist.answers.masks import MaskList as MaskList
from strategist.answers.masks import list_masks as list_masks
from strategist.answers.plan import plan_survey as plan_survey
from strategist.answers.run_sheet import Effort as Effort
from strategist.answers.run_sheet import SurveyPlan as SurveyPlan
from strategist.answers.run_sheet import plan_first_survey as plan_first_survey
from strategist.answers.settings import Settings as Settings
from strategist.answers.settings import settings_of as settings_of
from strategist.answers.solution import Options as Options
from strategist.answers.solution import Solution as Solution
from strategist.answers.solution import solve as solve
from strategist.answers.techniques import (
    Techniques as Techniques,
)
from strategist.answers.techniques import (
    compare_techniques as compare_techniques,
)
from strategist.answers.what_if import (
    WhatIf as WhatIf,
)
from strategist.answers.what_if import (
    WhatIfs as WhatIfs,
)
from strategist.answers.what_if import (
    usual_what_ifs as usual_what_ifs,
)
from strategist.answers.what_if import (
    what_if as what_if,
)
from strategist.batch.cross_reads import (
    CrossReads as CrossReads,
)
from strategist.batch.cross_reads import (
    cross_reads_of as cross_reads_of,
)
from strategist.batch.cross_reads import (
    tags_of as tags_of,
)
from strategist.batch.run import Progress as Progress
from strategist.batch.run import run_batch as run_batch
from strategist.batch.site_answer import SitePlan as SitePlan
from strategist.batch.site_plan import plan_site as plan_site
from strategist.batch.site_plan_text import site_plan_text as site_plan_text
from strategist.batch.site_posed import read_options as read_options
from strategist.batch.summary import Summary as Summary
from strategist.batch.tables import safe_cell as safe_cell
from strategist.batch.templates import (
    SiteTemplates as SiteTemplates,
)
from strategist.batch.templates import (
    site_templates as site_templates,
)
from strategist.batch.templates import (
    templates_of as templates_of,
)
from strategist.batch.templates_text import templates_text as templates_text
from strategist.commands.parser import CommandParser as CommandParser
from strategist.errors import (
    DisagreementError as DisagreementError,
)
from strategist.errors import (
    Fault as Fault,
)
from strategist.errors import (
    InputError as InputError,
)
from strategist.errors import (
    MalformedError as MalformedError,
)
from strategist.errors import (
    NotCompiledError as NotCompiledError,
)
from strategist.errors import (
    SolveError as SolveError,
)
from strategist.errors import (
    StrategistError as StrategistError,
)
from strategist.intake.imported import Imported as Imported
from strategist.intake.importing import import_log as import_log
from strategist.intake.mapping import ImportMapping as ImportMapping
from strategist.intake.mapping import parse_mapping as parse_mapping
from strategist.optimise.progress import Reached as Reached
from strategist.optimise.progress import watched_by as watched_by
from strategist.optimise.strategy import Strategy as Strategy
from strategist.optimise.strategy import read_strategy as read_strategy
from strategist.optimise.strategy_file import (
    StrategyFile as StrategyFile,
)
from strategist.optimise.strategy_file import (
    parse_strategy_file as parse_strategy_file,
)
from strategist.optimise.strategy_file import (
    parse_strategy_files as parse_strategy_files,
)
from strategist.optimise.templates import (
    Templates as Templates,
)
from strategist.optimise.templates import (
    choose_templates as choose_templates,
)
from strategist.optimise.templates import (
    template_curve as template_curve,
)
from strategist.questions import (
    CHANGES_MAX as CHANGES_MAX,
)
from strategist.questions import (
    QUESTIONS as QUESTIONS,
)
from strategist.questions import (
    Asked as Asked,
)
from strategist.questions import (
    Kept as Kept,
)
from strategist.questions import (
    Parameter as Parameter,
)
from strategist.questions import (
    Question as Question,
)
from strategist.questions import (
    Shown as Shown,
)
from strategist.radio.complete import complete as complete
from strategist.radio.lawful import PowerLimit as PowerLimit
from strategist.radio.lawful import power_limit as power_limit
from strategist.radio.regions import region_named as region_named
from strategist.report.acceptance import acceptance_text as acceptance_text
from strategist.report.acceptance import plan_text as plan_text
from strategist.report.case_folder import refuse_folder as refuse_folder
from strategist.report.case_folder import write_case as write_case
from strategist.report.comparison import comparison_text as comparison_text
from strategist.report.document import Backing as Backing
from strategist.report.document import report_document as report_document
from strategist.report.findings import (
    check_text as check_text,
)
from strategist.report.full_assessment import full_assessment_text as full_assessment_text
from strategist.report.given_results import (
    GivenResult as GivenResult,
)
from strategist.report.given_results import (
    parse_frontier as parse_frontier,
)
from strategist.report.given_results import (
    parse_results as parse_results,
)
from strategist.report.imported import import_text as import_text
from strategist.report.lists import (
    masks_text as masks_text,
)
from strategist.report.lists import (
    settings_text as settings_text,
)
from strategist.report.output import refuse_target as refuse_target
from strategist.report.output import write_whole as write_whole
from strategist.report.page import page_policy as page_policy
from strategist.report.page import report_page as report_page
from strategist.report.page import report_sections as report_sections
from strategist.report.page import report_style as report_style
from strategist.report.plan import run_sheet_page as run_sheet_page
from strategist.report.plan import survey_plan_text as survey_plan_text
from strategist.report.plots import can_plot as can_plot
from strategist.report.site_keys import keys_text as keys_text
from strategist.report.standing import power_limit_text as power_limit_text
from strategist.report.text import evaluation_text as evaluation_text
from strategist.report.text import result_text as result_text
from strategist.report.trade_offs import (
    frontier_text as frontier_text,
)
from strategist.report.trade_offs import (
    techniques_text as techniques_text,
)
from strategist.report.what_if import what_if_text as what_if_text
from strategist.report.what_if import what_ifs_text as what_ifs_text
from strategist.survey.case import Bounds as Bounds
from strategist.survey.case import Case as Case
from strategist.survey.findings import Finding as Finding
from strategist.survey.json_text import parse_json as parse_json
from strategist.survey.json_text import refuse_values as refuse_values
from strategist.survey.keys import SiteKey as SiteKey
from strategist.survey.keys import SiteKeys as SiteKeys
from strategist.survey.keys import Untitled as Untitled
from strategist.survey.policy import (
    Dwell as Dwell,
)
from strategist.survey.policy import (
    Loss as Loss,
)
from strategist.survey.policy import (
    Policy as Policy,
)
from strategist.survey.policy import (
    Radio as Radio,
)
from strategist.survey.reading import (
    CaseDocument as CaseDocument,
)
from strategist.survey.reading import (
    read_case as read_case,
)
from strategist.survey.reading import (
    read_case_document as read_case_document,
)
from strategist.survey.reading import (
    read_case_files as read_case_files,
)
from strategist.survey.reading import (
    read_file as read_file,
)
from strategist.survey.reading import (
    read_site as read_site,
)
from strategist.survey.reading import (
    read_text as read_text,
)
from strategist.survey.records import ReadPoint as ReadPoint
from strategist.survey.records import Survey as Survey
from strategist.survey.records import Tag as Tag
from strategist.survey.refused import input_error as input_error
from strategist.survey.site import Site as Site
from strategist.survey.site_keys import site_keys as site_keys
from strategist.survey.site_keys import starter_site as starter_site
from strategist.survey.site_keys import unmeasured_site as unmeasured_site
from strategist.tags.candidates import forget_candidates as forget_candidates
from strategist.tags.mask import Mask as Mask
from strategist.tags.power_table import (
    PowerTable as PowerTable,
)
from strategist.tags.power_table import (
    read_power_table as read_power_table,
)
from strategist.trust.acceptance import (
    AcceptancePlan as AcceptancePlan,
)
from strategist.trust.acceptance import (
    plan_acceptance as plan_acceptance,
)
from strategist.trust.diagnosis import diagnose as diagnose
from strategist.trust.evaluate import Outcome as Outcome
from strategist.trust.evaluate import evaluate as evaluate
from strategist.trust.evaluation import Evaluation as Evaluation
from strategist.trust.evaluation import evaluate_at as evaluate_at
from strategist.trust.guarded import (
    GuardedOutcome as GuardedOutcome,
)
from strategist.trust.guarded import (
    guarded_loss as guarded_loss,
)
from strategist.trust.guarded import (
    guarded_outcome as guarded_outcome,
)
from strategist.trust.miss_rate_max import MISS_RATE_MAX as MISS_RATE_MAX

__version__: str
__all__: list[str]
