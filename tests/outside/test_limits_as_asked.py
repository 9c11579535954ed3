"""The published values of law, exposure and time, against what a user calls: `site.json` in, the
JSON of `evaluate` and of `lawful` out.

V reproduced with an independent library, R read in a copy of the document, C computed from the
formula named, M from memory. The same rows stand against the functions in `test_radio.py` and
`test_timing.py`.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

import strategist
from strategist.__main__ import main

close = pytest.approx
FCC, LOW, HIGH = "fcc-902-928", "etsi-865-868", "etsi-915-921"


def evaluated(folder: Path, policy: dict[str, Any], strategy: dict[str, Any]) -> dict[str, Any]:
    """What `evaluate` says of a strategy at a read point with one tag, read at 20 and 30 dBm."""
    folder.mkdir(exist_ok=True)
    reads = [
        "read_point,pass_id,power_dbm,epc,rssi_dbm",
        "door,p1,20,3034,-60",
        "door,p1,30,3034,-50",
    ]
    (folder / "reads.csv").write_text("\n".join(reads))
    (folder / "roster.csv").write_text("read_point,pass_id,epc,role\ndoor,p1,3034,wanted\n")
    site = {"read_points": {"door": {"levels_dbm": [20, 30]} | policy}}
    (folder / "site.json").write_text(json.dumps(site))
    file, out = folder / "strategy.json", folder / "out.json"
    file.write_text(json.dumps(strategy))
    assert main(["compare", str(folder), "--strategy", str(file), "--out", str(out)]) == 0
    (found,) = json.loads(out.read_text())["rows"]
    return dict(found)


@pytest.mark.parametrize(
    ("region", "gain", "hops", "dbm"),
    [
        *((FCC, gain, 50, 30) for gain in (0, 2, 6)),  # 15.247(b)(2), (b)(4): rule R, values C
        *((FCC, gain, 50, dbm) for gain, dbm in ((8, 28), (8.5, 27.5), (9, 27), (12, 24))),
        (FCC, 6, 25, 23.98),  # 15.247(b)(2): 0.25 W for 25 to 49 channels (R)
        (FCC, 6, 49, 23.98),
        *(
            (LOW, gain, None, dbm)
            for gain, dbm in ((6, 29.16), (7, 28.16), (8.5, 26.66), (9, 26.16))
        ),
        (HIGH, 9, None, 29.17),  # 4 W e.r.p. = 38.17 dBm e.i.r.p. (V)
    ],
)
def test_highest_conducted_level(
    tmp_path: Path, region: str, gain: float, hops: int | None, dbm: float
) -> None:
    radio = {"region": region, "antenna_gain_dbi": gain, "hop_channels": hops}
    found = evaluated(tmp_path / "c", {"radio": radio}, {"levels_dbm": [30]})
    assert found["lawful"]["highest_dbm"] == close(dbm, abs=0.0051)
    assert found["lawful"]["region"] == region
    assert found["lawful"]["clause"] and found["lawful"]["edition"]
    assert any("UNLAWFUL" in text for text in found["warnings"]) == (dbm < 30)
    given = strategist.Radio(region=region, antenna_gain_dbi=gain, hop_channels=hops)
    assert strategist.power_limit(given).to_json()["lawful"]["highest_dbm"] == close(
        found["lawful"]["highest_dbm"]
    )


@pytest.mark.parametrize(
    ("radio", "ground", "metres"),
    [
        # 4 W e.i.r.p. (30 dBm and 6.0206 dBi) at 915 MHz
        ({"exposure": "icnirp"}, 1, 0.2638),  # V: pycraf
        ({"exposure": "fcc"}, 1, 0.2284),  # V; f/1500 M, 4/3 of ICNIRP R
        ({"exposure": "fcc"}, None, 0.3655),  # V; OET-65's 2.56 R
        ({"exposure": "fcc"}, 2.56, 0.3655),
    ],
)
def test_exposure_distance_of_4_w(
    tmp_path: Path, radio: dict[str, Any], ground: float | None, metres: float
) -> None:
    limit = {"dbm": 36.1, "kind": "eirp", "low_mhz": 915, "high_mhz": 928}
    radio = {"limit": limit, "antenna_gain_dbi": 6.0206, "ground_factor": ground} | radio
    found = evaluated(tmp_path / "c", {"radio": radio}, {"levels_dbm": [20, 30]})
    assert found["exposure"]["distance_m"] == close(metres, abs=6e-5)
    assert found["exposure"]["group"] == "public"
    assert all(text.startswith("Assumed of the reader") for text in found["warnings"])


@pytest.mark.parametrize(("erp_w", "low_mhz", "metres"), [(2, 865.6, 0.2456), (4, 915, 0.3378)])
def test_exposure_distance_of_an_erp(
    tmp_path: Path, erp_w: float, low_mhz: float, metres: float
) -> None:
    """C: all that 2 W and 4 W e.r.p. allow, at 30 dBm conducted, by ICNIRP f/200."""
    dbm = {2: 33.0103, 4: 36.0206}[erp_w]
    limit = {"dbm": dbm, "kind": "erp", "low_mhz": low_mhz, "high_mhz": 921}
    gain = dbm + 2.14844 - 30 - 1e-6
    radio = {"limit": limit, "antenna_gain_dbi": gain}
    found = evaluated(tmp_path / "c", {"radio": radio}, {"levels_dbm": [30]})
    assert found["lawful"]["highest_dbm"] == close(30, abs=1e-4)
    assert found["exposure"]["distance_m"] == close(metres, abs=6e-5)


@pytest.mark.parametrize(
    ("link", "slot_us"),
    [("fm0-640", 528), ("miller4-256", 3630)],  # C: ideal singulation, T2 = 3 Tpri, session 3
)
def test_time_of_a_step_with_one_tag(tmp_path: Path, link: str, slot_us: float) -> None:
    """One tag is one Query and one slot. The published slot has T2 = 3 Tpri and opens with a
    QueryRep of 4 bits; ours waits 11.5 Tpri, twice, and opens with a Query: 18 bits more, of 1.25
    Tari on average, and TRcal (C)."""
    policy = {"time": {"rf_mode": link, "dwell_s": 1}}
    one = evaluated(tmp_path / "c", policy, {"levels_dbm": [20]})["time"]
    tari, trcal = {"fm0-640": (6.25, 100 / 3), "miller4-256": (25.0, 250 / 3)}[link]
    tpri = trcal / (64 / 3)
    by_hand = slot_us + 2 * (11.5 - 3) * tpri + 18 * 1.25 * tari + trcal
    assert 1e6 * one["expected_s"] == close(by_hand, abs=0.6)
    assert one["expected_s"] == one["worst_s"]


@pytest.mark.parametrize("bits", [8, 16])
def test_a_mask_takes_the_time_of_its_select(tmp_path: Path, bits: int) -> None:
    """45 + L bits (layout M) of 15.625 us on average at Tari 12.5 with ones of 18.75 us, after
    56.25 us of frame-sync (delimiter, data-0, RTcal); then two RTcal (C)."""
    mask = {"bank": "epc", "pointer": 32, "length": bits, "pattern": "3034"[: bits // 4]}
    policy = {"time": {"rf_mode": "miller2-320"}}
    bare, masked = (
        evaluated(tmp_path / "c", policy, {"levels_dbm": [20], "masks": masks})["time"]
        for masks in ([], [mask])
    )
    by_hand = 56.25 + (45 + bits) * 15.625 + 2 * 31.25
    assert 1e6 * (masked["worst_s"] - bare["worst_s"]) == close(by_hand, abs=1e-3)


def test_the_command_says_the_same(capsys: pytest.CaptureFixture[str]) -> None:
    """29.16 dBm (C) and, at all of 2 W e.r.p. and 865 MHz, 0.2457 m by ICNIRP (C)."""
    assert main(["lawful", "--region", LOW, "--gain", "6", "--out", "-"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["lawful"]["highest_dbm"] == found["level_dbm"] == close(29.16, abs=0.005)
    assert found["exposure"]["distance_m"] == close(0.2457, abs=6e-5)
    assert main(["lawful", "--region", LOW, "--gain", "6", "--level", "30"]) == 0
    out = capsys.readouterr().out
    assert "Above it: 30 dBm." in out and "local authority" in " ".join(out.split())
    assert max(len(line) for line in out.splitlines()) <= 80
