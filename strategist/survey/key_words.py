"""What is said of each key of site.json, once: README, `strategist keys`, JSON Schema, and hints.

`policy.py` names these entries where its fields stand: a field without one cannot be declared.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Words:
    """What a key `means` (and what null stands for), its `unit`, `when` to set it and to what, and
    an `example` that is taken and is not the default. `formerly` is a name that it once had.

    `when` is read after "Set it".
    """

    means: str
    unit: str
    when: str
    example: Any
    formerly: str = ""


KEY_WORDS = {
    "read_points": Words(
        "the settings of each read point, by the name that reads.csv and roster.csv use",
        "",
        "always: one entry for each read point",
        {"dock-1": {"levels_dbm": [15.0, 16.0]}},
    ),
    "levels_dbm": Words(
        "power levels surveyed; null: those found in reads.csv, with a warning",
        "dBm",
        "always, with the levels at which no tag was read, too",
        [15.0, 16.0, 17.0],
    ),
    "unlisted": Words(
        "what a tag is that was read but is not on the roster of its pass: a stray "
        "tag, left out of the survey, or an error",
        "",
        "to error where the roster must be complete",
        "error",
    ),
    "loss": Words(
        "weights of missed and stray tags; the best strategy has the least weighted sum",
        "",
        "always: the weights decide what is best",
        {"missed": 20.0, "stray": 1.0},
    ),
    "loss.missed": Words(
        "weight of one wanted tag that is missed",
        "",
        "to what a missed tag costs, in the same measure as a stray one",
        20.0,
    ),
    "loss.stray": Words(
        "weight of one stray tag that is reported",
        "",
        "to what a stray tag costs, in the same measure as a missed one",
        2.0,
    ),
    "stop_after": Words(
        "a ladder stops once it has reported so many tags",
        "tags",
        "to the number of tags that a load holds, where it is always the same",
        4,
    ),
    "allow": Words(
        "techniques that may be used: choice of power level, step ladder, RSSI cutoff, "
        "masks, choice of antennas",
        "",
        "where the reader lacks one, or you want to do without",
        ["power", "masks"],
    ),
    "reader": Words(
        "what the reader can do",
        "",
        "always: three of its defaults are assumptions",
        {"ladder_steps_max": 4, "mask_slots": 2},
    ),
    "reader.ladder_steps_max": Words(
        "most levels of one step ladder; the default is an assumption about the reader",
        "levels",
        "to as many power levels as the reader, or the software that drives it, can "
        "step through within a pass",
        4,
    ),
    "reader.mask_slots": Words(
        "most masks in one chain; the default is an assumption about the reader",
        "masks",
        "to the MaxNumSelectFiltersPerQuery that an LLRP reader reports among its "
        "capabilities, or as the reader's manual says",
        2,
    ),
    "reader.mask_step_bits": Words(
        "a mask starts and ends on a multiple of so many bits of its bank's data; the"
        " default is an assumption about the reader",
        "bits",
        "to 1 where masks may begin at any bit, as Gen2's Select can; to 4 or 8 where"
        " they are entered as hex digits or bytes",
        4,
    ),
    "reader.mask_bits_max": Words(
        "longest mask; the Length field of Gen2's Select counts to 255",
        "bits",
        "where the reader takes only shorter masks, or you need longer ones",
        64,
    ),
    "reader.antenna_power": Words(
        "shared: antennas that are on radiate the level; own: each has a power and a cutoff of its "
        "own",
        "",
        "to own where the reader takes a power for each antenna and the host a cutoff for each",
        "own",
    ),
    "reader.rssi_step_db": Words(
        "cutoffs are multiples of this; null: any cutoff can be set",
        "dB",
        "to 1 where the reader reports whole dBm, as LLRP's PeakRSSI does",
        1.0,
    ),
    "reader.power_levels_dbm": Words(
        "levels that the reader can be set to; null: any level",
        "dBm",
        "to the reader's own list of transmit powers, where the survey has others, too",
        [15.0, 17.5, 20.0],
    ),
    "guard": Words(
        "how much drift the guarded loss supposes",
        "",
        "where you know the drift of your reader",
        {"power_db": 2.0},
    ),
    "guard.power_db": Words(
        "how far the power at the tags may drift",
        "dB",
        "to the drift of reader, cable and antenna, where you know it",
        2.0,
    ),
    "guard.rssi_db": Words(
        "how far the reported RSSI may drift",
        "dB",
        "to the accuracy that the reader's data sheet gives",
        3.0,
    ),
    "limits": Words(
        "rates that must not be exceeded, whatever the weights",
        "",
        "where a contract or the process behind sets them",
        {"missed_rate_max": 0.01},
    ),
    "limits.missed_rate_max": Words(
        "most missed tags for each wanted tag presented; null: no limit",
        "",
        "where a contract or the process behind allows no more",
        0.01,
    ),
    "limits.stray_rate_max": Words(
        "most stray tags reported for each pass; null: no limit",
        "tags a pass",
        "where a contract or the process behind allows no more",
        0.05,
    ),
    "radio": Words(
        "radio rule, antenna and cable, for lawful levels and exposure distances",
        "",
        "before anything is installed",
        {"region": "etsi-865-868", "antenna_gain_dbi": 6.0},
    ),
    "radio.region": Words(
        "radio rule whose limit holds; null: none, and nothing is claimed of lawful levels",
        "",
        "to the rule of the country in which the reader transmits",
        "etsi-865-868",
    ),
    "radio.limit": Words(
        "a limit of your own in place of a region",
        "",
        "where a licence or another country's rule applies",
        {"dbm": 33.0, "high_mhz": 868.0, "kind": "erp", "low_mhz": 865.0},
    ),
    "radio.limit.dbm": Words("highest radiated power", "dBm", "as your rule has it", 33.0),
    "radio.limit.kind": Words(
        "whether dbm counts e.r.p. or e.i.r.p., which is 2.15 dB more",
        "",
        "as your rule counts",
        "erp",
    ),
    "radio.limit.low_mhz": Words("lower edge of the band", "MHz", "as your rule has it", 865.0),
    "radio.limit.high_mhz": Words("upper edge of the band", "MHz", "as your rule has it", 868.0),
    "radio.limit.rule": Words(
        "where the limit comes from, as results quote it",
        "",
        "to the name of your licence or of the clause",
        "licence of the site",
    ),
    "radio.hop_channels": Words(
        "channels that the reader hops over",
        "channels",
        "where the rule asks for it (fcc-902-928)",
        50,
    ),
    "radio.antenna_gain_dbi": Words(
        "antenna gain in its best direction, from the data sheet (dBic where circular)",
        "dBi",
        "always where a region or a limit is given",
        6.0,
    ),
    "radio.polarisation": Words(
        "polarisation of the antenna; null: not known",
        "",
        "from the data sheet, where a rule or the link budget needs it",
        "circular",
    ),
    "radio.count_linear_component": Words(
        "count a circular antenna's gain 3 dB less, where the region knows that practice",
        "",
        "to true once your test house confirms that it may be counted so",
        True,
    ),
    "radio.cable_loss_db": Words(
        "loss of the cable between reader port and antenna; 0 is the careful assumption",
        "dB",
        "as measured, or to length times the loss in the data sheet",
        1.5,
    ),
    "radio.exposure": Words(
        "guideline for the distance that people keep; null: FCC in its own band, else ICNIRP",
        "",
        "where your authority names the other one",
        "icnirp",
    ),
    "radio.ground_factor": Words(
        "how much reflections raise the power density; null: 2.56 for FCC (OET-65), else 1",
        "",
        "near metal, after a measurement",
        2.56,
    ),
    "radio.distance_m": Words(
        "distance from the antenna to the wanted tags, for the link budget of check",
        "m",
        "as measured (null: nothing is compared)",
        0.7,
    ),
    "time": Words(
        "how long a pass and a ladder step last",
        "",
        "where loads move, or a ladder must not take too long",
        {"dwell_s": 0.8, "step_s": 0.1},
    ),
    "time.dwell_s": Words(
        "how long a load stays in the field; null: no limit, times are reported alone",
        "s",
        "as timed at the read point; ladders that take longer are not proposed",
        0.8,
    ),
    "time.step_s": Words(
        "how long one ladder step takes, measured with the reader; several: one of them is chosen",
        "s",
        "once you have timed it, which is better than an estimate by rf_mode",
        0.1,
    ),
    "time.in_turn": Words(
        "whether antennas take turns that last as long as said of a step, each of those that are "
        "on one in every step; t_s then counts from the beginning of the antenna's own turn",
        "",
        "where step_s is the time of one antenna; false: of all that are on",
        True,
    ),
    "time.rf_mode": Words(
        "RF mode (LLRP's word): tag encoding and backscatter link frequency (kHz), "
        "from which the time of a step is estimated",
        "",
        "as the reader is set, where step_s was not measured",
        "miller4-256",
        formerly="link",
    ),
    "time.tags_in_field": Words(
        "tags that answer together; null: the most that any surveyed pass presents",
        "tags",
        "where loads will hold more tags than in the survey",
        40,
    ),
    "time.overhead_s": Words(
        "time that the reader itself needs for each step, beside the air interface",
        "s",
        "from the reader's log, with rf_mode",
        0.02,
    ),
    "time.failed_read_rate": Words(
        "share of reads that fail though the tag answers alone; null: as the survey "
        "suggests, which is too low where it listened long at each level",
        "",
        "from the reader's log, with rf_mode",
        0.1,
    ),
    "aim": Words(
        "what is least: the loss expected in passes to come, over copies of the survey drawn by "
        "what it says may vary, or the loss over the passes surveyed",
        "",
        "to survey for a quick look, or where the passes surveyed are all that counts",
        "survey",
    ),
    "conditions": Words(
        "how the conditions of passes.csv (or its days) are weighed against each other",
        "",
        "where passes.csv names conditions and each of them must do",
        {"aim": "worst"},
    ),
    "conditions.aim": Words(
        "the loss a pass in the mean of the conditions by weight, in the worst alone, or in the "
        "mean of the worst share of passes",
        "",
        "to worst where no condition may do badly",
        "worst",
    ),
    "conditions.tail": Words(
        "the worst share of passes that cvar looks at",
        "",
        "with cvar: nearer to 0 is nearer to worst",
        0.1,
    ),
    "antennas": Words(
        "the antennas that exist, by number, with what differs from radio; none: those that "
        "reads.csv names",
        "",
        "where antennas differ in gain or cable, or one exists that no read names",
        {"1": {"antenna_gain_dbi": 8.5}, "2": {}},
    ),
    "antennas.N.antenna_gain_dbi": Words(
        "gain of this antenna; null: that of radio",
        "dBi",
        "from its data sheet, where it differs",
        8.5,
    ),
    "antennas.N.cable_loss_db": Words(
        "loss of the cable to this antenna; null: that of radio",
        "dB",
        "as measured, where it differs",
        3.0,
    ),
    "serial_masks": Words(
        "let masks test serial numbers, which hold for the surveyed tags alone",
        "",
        "to true where the same tags come back for ever",
        True,
    ),
    "untried": Words(
        "what to do with passes that were not surveyed at every level: refuse to "
        "solve, leave out those levels, or leave out those passes",
        "",
        "where it is said that some passes were not surveyed at every level",
        "leave_out_pass",
    ),
    "predict_levels": Words(
        "fill in levels that were not surveyed, before untried looks at what is left:"
        " between two levels of the pass at most 4 dB apart, or at most 1 dB beyond "
        "the last; without tried.csv, levels of levels_dbm that no read names count "
        "as not surveyed",
        "",
        "to true where you surveyed in steps coarser than you can set",
        True,
    ),
    "options": Words(
        "what could be bought for this read point, by a name of yours: each is a case of its own, "
        "surveyed with the screen, antenna or tags in place",
        "",
        "where `strategist site` shall weigh what buying it is worth",
        {"screen": {"case": "with-screen", "price": 400.0}},
    ),
    "options.N.case": Words(
        "folder of the case surveyed with the option, seen from the folder of site.json",
        "",
        "always: an option without a survey cannot be weighed",
        "with-screen",
    ),
    "options.N.read_point": Words(
        "what the read point is called there; null: the same",
        "",
        "where the option's case calls it something else",
        "dock-1",
    ),
    "options.N.price": Words(
        "what the option costs; null: cost.option",
        "",
        "to its price, in the currency of cost",
        400.0,
    ),
    "readers": Words(
        "readers that serve several read points, by name, and what they have only once for all of "
        "them; a read point that none names has a reader of its own",
        "",
        "where antenna ports of one reader are at several read points",
        {"reader-1": {"read_points": ["dock-1", "dock-2"]}},
    ),
    "readers.N.read_points": Words(
        "the read points that this reader serves",
        "",
        "always",
        ["dock-1", "dock-2"],
    ),
    "readers.N.shares": Words(
        "what is the same at all read points of this reader",
        "",
        "to what the reader has only once: see its manual",
        ["masks"],
    ),
    "readers.N.cycle_s": Words(
        "how long the reader may take to walk the ladders of all its read points once; null: no "
        "limit",
        "s",
        "where it serves its ports in turn and loads do not wait",
        2.5,
    ),
    "cost": Words(
        "what the work at the site costs, in one currency of yours",
        "",
        "where `strategist site` shall keep a budget",
        {"visit": 120.0, "setting": 30.0},
    ),
    "cost.visit": Words(
        "price of setting the read points of one reader",
        "",
        "to what it costs to send somebody there",
        120.0,
    ),
    "cost.setting": Words(
        "price of each different setting: to write, test and keep it",
        "",
        "to what one more kind of setting costs in work and mistakes",
        30.0,
    ),
    "cost.option": Words(
        "price of an option that names none",
        "",
        "where all options cost the same",
        400.0,
    ),
    "arbitration": Words(
        "pairs of read points that hear the same tags, by a name of yours: of two reports of one "
        "tag in one pass the host may discard one, by a threshold that `strategist site` chooses",
        "",
        "where a load is at two read points at once, both were surveyed together (one pass_id "
        "at both is the same pass), and a host can compare reports",
        {"doors": {"read_points": ["dock-1", "dock-2"]}},
    ),
    "arbitration.N.read_points": Words(
        "the two read points",
        "",
        "always",
        ["dock-1", "dock-2"],
    ),
    "arbitration.N.keep": Words(
        "which report is kept: that of the stronger read, or that of the read point whose antenna "
        "faces the tags",
        "",
        "to facing where one of the two is known to be the right one for tags that both hear",
        "facing",
    ),
    "arbitration.N.facing": Words(
        "the read point whose reports are never discarded; null: either's may be",
        "",
        "where keep is facing",
        "dock-1",
    ),
    "arbitration.N.price": Words(
        "what it costs to have the host do it",
        "",
        "to its price, in the currency of cost",
        50.0,
    ),
    "site": Words(
        "a name of the site, for the head of pages",
        "",
        "where the pages of several sites lie side by side",
        "Linen service, ward 3",
    ),
}
