"""Plots as SVG for a page: no script, the same bytes each time, told apart without colour."""

from __future__ import annotations

import html
import io
import re
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Draw = Callable[["Axes"], None]

WANTED, STRAY, MASKED, CHOSEN = "#12486b", "#b4531a", "#8a8a8a", "#111111"
_SIZE_IN = (4.3, 2.6)
_ROOM = {"right": 0.97, "bottom": 0.17, "top": 0.83}  # of the figure, for the axes
_NEAR = 0.8  # of the strays at the highest level: a bar that comes near their line
_FAR = 1.5  # times the frontier: a point beyond is shown at the edge, or the frontier is flat
_STYLE: Any = {  # the keys of matplotlib's rcParams
    "svg.fonttype": "none",
    "svg.hashsalt": "strategist",
    "font.family": "sans-serif",
    "font.size": 9.5,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.edgecolor": "#444444",
    "axes.axisbelow": True,
    "axes.grid": True,
    "grid.color": "#dddddd",
    "grid.linewidth": 0.6,
    "xtick.major.size": 0,  # the grid says as much, with a third of the elements
    "ytick.major.size": 0,
    "figure.facecolor": "none",
    "axes.facecolor": "none",
    "hatch.linewidth": 0.7,
    "legend.frameon": False,
    "legend.fontsize": 9,
}
_UNUSED = re.compile(r"<metadata>.*?</metadata>|<defs>\s*<style.*?</style>\s*</defs>", re.S)
_NUMBERS = re.compile(r"(?<![#\w])-?\d+\.\d{3,}")
_ID = re.compile(r' id="([^"]*)"')
_TO_ID = re.compile(r'(url\(#|xlink:href="#)([^")]*)')
_FONT = re.compile(r" font-family: [^;\"]*;?")
_LONG = re.compile(r' (?:d|style)="[^"]*"')
_BLANKS = re.compile(r"(?<=[:;]) | (?=[LQCMz\"])|(?<=[LQCM]) ")
_STYLED = re.compile(r' style="([^"]*)"')
_GROUP = re.compile(r"</?g\b[^>]*>")


def can_plot() -> bool:
    """Whether matplotlib can be loaded; it is installed with strategist, and may yet be broken."""
    try:
        import matplotlib.figure  # noqa: F401, PLC0415 (slow to load)
    except Exception:  # whatever it trips over, the page goes without plots
        return False
    return True


def read_rate_plot(
    ident: str, label: str, picture: Mapping[str, Any], levels_dbm: Sequence[float]
) -> str:
    """Share of wanted and stray presentations that are read, by level; the chosen steps marked."""

    def draw(axes: Axes) -> None:
        levels = picture["levels_dbm"]
        for number, level in enumerate(levels_dbm):
            axes.axvline(
                level, color=CHOSEN, lw=1.1, ls=(0, (1, 1.5)), label=None if number else "steps set"
            )
        size = 4 if len(levels) < 30 else 2.5
        for role, color, mark, line in (
            ("wanted", WANTED, "o", "-"),
            ("stray", STRAY, "s", "--"),
        ):
            if not picture[role]:
                continue
            rates = [100 * rate for rate in picture[f"{role}_read_rate"]]
            fill = color if role == "wanted" else "white"
            axes.plot(
                levels, rates, color=color, ls=line, marker=mark, ms=size, mfc=fill, label=role
            )
        axes.set_ylim(-3, 103)
        axes.locator_params(axis="x", integer=True)
        axes.set_xlabel("conducted power, dBm")
        axes.set_ylabel("read, % of presented")
        _legend(axes, 3)

    return _svg(ident, label, draw)


def held_against(score: Mapping[str, Any] | None) -> str:
    """What a cutoff is held against, with its unit."""
    kind = "peak" if score is None else score["kind"]
    if score is not None and kind == "nth":
        return f"RSSI of read {score['n']} by strength at the steps walked, dBm"
    if kind == "difference":
        return "difference of antennas at the steps walked, dB"
    corrected = " less the antenna's offset" if score is not None and "offset_db" in score else ""
    return f"strongest RSSI{corrected} at the steps walked, dBm"


def rssi_plot(ident: str, label: str, bins: Mapping[str, Any], strategy: Mapping[str, Any]) -> str:
    """Tags by what a strategy's cutoff is held against, and the cutoff."""
    masks = bool(strategy.get("masks"))
    cutoff = strategy.get("cutoff_dbm", strategy.get("cutoff_db"))

    def draw(axes: Axes) -> None:
        low, width = bins["low_dbm"], bins["width_db"]
        stray = "stray past the masks" if masks else "stray"
        edges = [*low, low[-1] + width]
        if masks:
            axes.stairs(
                bins["stray_masked"],
                edges,
                color=MASKED,
                ls=":",
                lw=1.3,
                label="stray that masks reject",
            )
        axes.stairs(
            bins["stray"], edges, color=STRAY, fill=False, hatch="////", lw=1.2, label=stray
        )
        axes.stairs(bins["wanted"], edges, color=WANTED, lw=2, label="wanted")
        if cutoff is not None:
            axes.axvline(cutoff, color=CHOSEN, lw=1.4, ls="-.", label="cutoff")
        axes.set_xlabel(held_against(strategy.get("score")))
        axes.set_ylabel("tags, over all passes")
        axes.locator_params(axis="y", integer=True)
        _legend(axes)

    return _svg(ident, label, draw)


def silenced_plot(ident: str, label: str, picture: Mapping[str, Any]) -> str:
    """Strays of the highest level alone that each technique silences alone, and all together."""

    def draw(axes: Axes) -> None:
        techniques = picture["techniques"]
        names = [*(one["name"] for one in techniques), "all together"]
        alone = [*(one["silences"] for one in techniques), picture["silenced"]]
        places = range(len(names))
        axes.barh(
            places,
            alone,
            height=0.55,
            color="#c9d6df",
            edgecolor=WANTED,
            hatch="////",
            label="suppressed",
        )
        top = picture["stray_at_top"]
        axes.axvline(top, color=CHOSEN, lw=1.2, ls="--", label="reported at the highest level")
        for place, count in zip(places, alone, strict=True):
            inside = count > _NEAR * top  # or it would stand on the line
            axes.annotate(
                f"{count}",
                (count, place),
                xytext=(-4 if inside else 4, 0),
                textcoords="offset points",
                ha="right" if inside else "left",
                va="center",
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.5},
            )
        axes.set_yticks(list(places), names)
        axes.invert_yaxis()
        axes.set_xlim(0, 1.12 * max(top, 1))
        axes.set_xlabel("stray tags, over all passes")
        axes.grid(visible=False, axis="y")
        axes.locator_params(axis="x", integer=True)
        _legend(axes, 1)

    return _svg(ident, label, draw, left=0.22)


def frontier_plot(
    ident: str,
    label: str,
    points: Sequence[Mapping[str, Any]],
    marked: Sequence[tuple[str, Mapping[str, Any]]],
) -> str:
    """Missed against stray of all strategies that none beats in both; some points by name."""

    def draw(axes: Axes) -> None:
        order = sorted(points, key=lambda one: (one["missed"], one["stray"]))
        missed, stray = [one["missed"] for one in order], [one["stray"] for one in order]
        axes.step(missed, stray, where="post", color=WANTED, lw=1.2)
        axes.plot(missed, stray, "o", color=WANTED, ms=3.5, label="none beats it in both")
        ends = [max(1, *counts) for counts in (missed, stray)]
        for (name, one), mark in zip(marked, ("D", "X", "^", "v"), strict=False):
            asked = one["missed"], one["stray"]
            place = min(asked[0], _FAR * ends[0]), min(asked[1], _FAR * ends[1])
            axes.plot(
                [place[0]],
                [place[1]],
                mark,
                color=STRAY,
                mec=CHOSEN,
                ms=8,
                label=name,
                zorder=5,
                clip_on=False,
            )
            if place != asked:
                left = place[0] < 0.6 * ends[0]
                axes.annotate(
                    f"off the plot, at\n{asked[0]} missed, {asked[1]} stray",
                    place,
                    xytext=(8 if left else -8, 4),
                    textcoords="offset points",
                    ha="left" if left else "right",
                    va="top",
                    bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.5},
                )
        axes.set_xlabel("wanted tags missed")
        axes.set_ylabel("stray tags reported")
        axes.locator_params(integer=True)
        axes.set_xlim(left=-0.04 * axes.get_xlim()[1])
        axes.set_ylim(bottom=-0.06 * axes.get_ylim()[1])
        _legend(axes)

    return _svg(ident, label, draw)


def _legend(axes: Axes, columns: int = 2) -> None:
    """Above the plot, so that it hides nothing."""
    axes.legend(
        loc="lower left",
        bbox_to_anchor=(-0.02, 1.0),
        ncols=columns,
        borderaxespad=0.2,
        handlelength=2.2,
        columnspacing=1.2,
    )


def _svg(ident: str, label: str, draw: Draw, left: float = 0.14) -> str:
    """The SVG element of a plot; `ident` keeps its ids apart from other plots' on the page.

    The axes begin at the share `left` of the width.
    """
    import matplotlib  # noqa: PLC0415 (slow to load)
    from matplotlib.figure import Figure  # noqa: PLC0415

    with matplotlib.rc_context(_STYLE):
        figure = Figure(figsize=_SIZE_IN)
        draw(figure.subplots(gridspec_kw={"left": left, **_ROOM}))
        file = io.StringIO()
        figure.savefig(file, format="svg", metadata={"Date": None})
    text = _UNUSED.sub("", file.getvalue())
    text = _light(text[text.index("<svg") :], ident)
    head, rest = text.split(">", 1)
    head = re.sub(r' (width|height|version|xmlns(:xlink)?)="[^"]*"', "", head)
    named = html.escape(label)
    space = 'xmlns:xlink="http://www.w3.org/1999/xlink"'
    head += f' {space} stroke-linejoin="round" role="img" aria-label="{named}"'
    return f"{head}><title>{named}</title>{rest.strip()}"


def _light(text: str, ident: str) -> str:
    """matplotlib's SVG with only what a browser needs: pages hold hundreds of plots.

    Ids that nothing refers to, groups that say nothing, blanks and the font of each text go (the
    page's style sets one); numbers keep two decimals, and ids that stay begin with `ident`. Style
    becomes attributes, since the page's policy takes no style but the one it names.
    """
    asked = {name for _, name in _TO_ID.findall(text)}
    text = _ID.sub(lambda it: f' id="{ident}-{it[1]}"' if it[1] in asked else "", text)
    text = _TO_ID.sub(rf"\g<1>{ident}-\g<2>", text)
    text = _NUMBERS.sub(lambda it: f"{float(it[0]):.2f}".rstrip("0").rstrip("."), text)
    text = _FONT.sub("", text)
    text = re.sub(r' transform="rotate\(-0 [^"]*"', "", text)
    text = re.sub(r">\s+<", "><", text)
    text = _LONG.sub(lambda it: _BLANKS.sub("", it[0].replace("\n", "")), text)
    text = _STYLED.sub(_as_attributes, text)
    open_: list[bool] = []

    def group(found: re.Match[str]) -> str:
        if found[0] == "<g/>":
            return ""
        if found[0] == "</g>":
            return "</g>" if open_.pop() else ""
        open_.append(found[0] != "<g>")
        return found[0] if open_[-1] else ""

    return _GROUP.sub(group, text)


def _as_attributes(style: re.Match[str]) -> str:
    """The presentation attributes of SVG for an inline style."""
    pairs = [one.split(":", 1) for one in style[1].split(";") if one.strip()]
    return "".join(f' {name.strip()}="{value.strip()}"' for name, value in pairs)
