"""One night as a picture: the true deficits of the zones, those of coldside's map, the level, and every alarm."""

from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from tests.bench.quality.nights.engine_adapter import PlayedNight
from tests.bench.quality.nights.episodes import true_deficits
from tests.bench.quality.nights.night_files import Array, Night

__all__ = ["draw_night"]

SPAN_F = 30.0
"""The colors run from so much below the mean of the grate to so much above."""
LIMIT_F = 15.0
ALARM_COLORS = {"cold-spot": "#1f4e9c", "drift": "#b3261e", "probe-lying": "#7b3fa0", "probe-silent": "#8a8a8a"}
OTHER_COLOR, DOOR_COLOR = "#b07d12", "#3c8d40"
MAPS_DRAWN = 3


def draw_night(night: Night, played: PlayedNight, out: Path) -> None:
    """Draw a night into an SVG file; the same night gives the same bytes."""
    with mpl.rc_context({"svg.fonttype": "none", "svg.hashsalt": night.name, "font.size": 8.0}):
        figure = Figure(figsize=(11.0, 10.5), layout="constrained")
        figure.suptitle(
            f"{night.name}: {len([p for p in night.probes['probes'] if p['kind'] == 'grate'])} grate probes"
        )
        rows = figure.add_gridspec(5, MAPS_DRAWN * 2, height_ratios=(1.0, 1.0, 1.3, 1.3, 1.4))
        truth, told, level, alarms = (figure.add_subplot(rows[k, :]) for k in range(4))
        deficits = true_deficits(night)
        _strip(truth, night, night.truth["t"], deficits, "truth: zones below the grate's mean, °F")
        image = _strip(told, night, played.t, played.deficit, "coldside's map, with its cold-spot alarms outlined")
        _outline_alarms(told, night, played)
        figure.colorbar(image, ax=[truth, told], label="below the mean, °F", shrink=0.9)
        _draw_level(level, night, played)
        _draw_alarms(alarms, played)
        for column, at in enumerate(_moments(night, deficits)):
            pair = [figure.add_subplot(rows[4, 2 * column + k]) for k in (0, 1)]
            _draw_maps(pair, night, played, at)
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})


def _strip(axes: Axes, night: Night, t: Array, deficits: Array, title: str) -> Any:
    """Draw one row of colors for each zone, blue where it is cold."""
    edges = np.concatenate([t, [2.0 * t[-1] - t[-2]]]) / 3600.0
    image = axes.pcolormesh(
        edges, np.arange(len(night.zones) + 1), deficits.T, cmap="RdBu", vmin=-SPAN_F, vmax=SPAN_F, rasterized=True
    )
    axes.set_yticks(np.arange(len(night.zones)) + 0.5, [name.replace("_", " ") for name in night.zones])
    axes.invert_yaxis()
    axes.set_title(title, loc="left")
    axes.set_xlim(0.0, night.seconds / 3600.0)
    for spot in night.labels["cold"]:
        if spot["D"] == LIMIT_F:
            row = night.zones.index(spot["zone"])
            axes.plot([spot["start"] / 3600.0, spot["end"] / 3600.0], [row + 0.93] * 2, color="black", linewidth=1.6)
    return image


def _outline_alarms(axes: Axes, night: Night, played: PlayedNight) -> None:
    for alarm in played.alarms:
        if alarm.rule.startswith("cold-spot") and alarm.subject in night.zones:
            row, end = night.zones.index(alarm.subject), min(alarm.cleared, night.seconds)
            axes.add_patch(
                mpl.patches.Rectangle(
                    (alarm.raised / 3600.0, row + 0.04), (end - alarm.raised) / 3600.0, 0.82, fill=False, linewidth=1.4
                )
            )


def _draw_level(axes: Axes, night: Night, played: PlayedNight) -> None:
    target = night.probes["target_F"]
    axes.axhspan(target - 25.0, target + 25.0, color="#dddddd", linewidth=0.0, label="band")
    axes.plot(night.truth["t"] / 3600.0, night.truth["zones"].mean(1), color="black", linewidth=0.9, label="truth")
    axes.plot(played.t / 3600.0, played.level, color="#b3261e", linewidth=0.9, label="coldside's level")
    for start, end, _ in night.labels["lid"]:
        axes.axvspan(start / 3600.0, end / 3600.0, color=DOOR_COLOR, linewidth=0.0)
    for cause in night.labels["causes"]:
        axes.axvline(cause["start"] / 3600.0, color="black", linestyle=":", linewidth=1.2)
        axes.annotate(
            cause["cause"], (cause["start"] / 3600.0, axes.get_ylim()[0]), rotation=90, va="bottom", ha="right"
        )
    axes.set_title("level of the grate, °F; doors open in green", loc="left")
    axes.set_xlim(0.0, night.seconds / 3600.0)
    axes.legend(loc="lower left", ncols=3, frameon=False)


def _draw_alarms(axes: Axes, played: PlayedNight) -> None:
    keys = list(dict.fromkeys(f"{alarm.rule}/{alarm.subject}" for alarm in played.alarms))
    end = float(played.t[-1])
    for alarm in played.alarms:
        row, color = keys.index(f"{alarm.rule}/{alarm.subject}"), ALARM_COLORS.get(alarm.rule, OTHER_COLOR)
        axes.plot([alarm.raised / 3600.0, min(alarm.cleared, end) / 3600.0], [row, row], color=color, linewidth=3.0)
        axes.plot(alarm.raised / 3600.0, row, marker="|", color="black", markersize=9.0)
    axes.plot(played.doors_seen / 3600.0, np.full(len(played.doors_seen), -1.0), "v", color=DOOR_COLOR, markersize=4.0)
    axes.set_yticks([-1, *range(len(keys))], ["door seen open", *keys])
    axes.invert_yaxis()
    axes.set_title("alarms from raised to cleared", loc="left")
    axes.set_xlim(0.0, end / 3600.0)
    axes.set_xlabel("hours")


def _moments(night: Night, deficits: Array) -> list[float]:
    """Choose when the maps are drawn: the deepest moment in each third of the night."""
    parts = np.array_split(np.arange(len(deficits)), MAPS_DRAWN)
    return [float(night.truth["t"][part[np.argmax(deficits[part].max(1))]]) for part in parts]


def _draw_maps(axes: list[Axes], night: Night, played: PlayedNight, at: float) -> None:
    cells = night.truth["grid_xyz"]
    columns, rows = len(np.unique(cells[:, 0].round(4))), len(np.unique(cells[:, 1].round(4)))
    true = night.truth["grid"][np.argmin(np.abs(night.truth["t"] - at))]
    told = played.map_mean[np.argmin(np.abs(played.t - at))].astype(float)
    size = (
        0.0,
        night.probes["chamber"]["length_m"],
        -night.probes["chamber"]["diameter_m"] / 2,
        night.probes["chamber"]["diameter_m"] / 2,
    )
    places = np.array([p["position"][:2] for p in night.probes["probes"] if p["kind"] == "grate"])
    for one, field, title in zip(axes, (true, told), (f"truth at {at / 3600.0:.1f} h", "map"), strict=True):
        grid = (field - field.mean()).reshape(columns, rows).T
        one.imshow(grid, cmap="RdBu_r", vmin=-SPAN_F, vmax=SPAN_F, origin="lower", extent=size, aspect="auto")
        one.plot(places[:, 0], places[:, 1], "o", color="black", markersize=2.5)
        one.set_title(title, loc="left")
        one.set_xticks([])
        one.set_yticks([])
