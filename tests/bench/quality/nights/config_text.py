"""The config that a user would write for a night: defaults everywhere but for what the pit itself dictates."""

from typing import Any

__all__ = ["config_text"]

KINDS = {"grate": ("chamber", "grate"), "top": ("chamber", "top"), "ambient": ("ambient", ""), "meat": ("meat", "")}
"""Kinds of probe with their duty and level. A flue has no place in the chamber, so a user leaves its probe out."""


def config_text(probes: dict[str, Any], *, wrap: bool) -> str:
    """Write the config of a pit as TOML.

    Args:
        probes: `probes.json` of the night.
        wrap: whether the pitmaster plans to wrap at 165 °F.
    """
    length, width = probes["chamber"]["length_m"] * 100.0, probes["chamber"]["diameter_m"] * 100.0
    parts = [
        f'[chamber]\nname = "pit"\nshape = "cylinder"\nlength = {length:.2f}\nwidth = {width:.2f}\nunit = "cm"\n'
        'fire_side = "left"\n',
        f'[cook]\ntarget = "{probes["target_F"]} F"\n',
        '[[source]]\nkind = "mqtt"\nname = "pit"\nhost = "127.0.0.1"\n',
        '[[source.subscribe]]\nfilter = "pit/+"\npayload = "json"\nvalue = "/value"\nunit_pointer = "/unit"\n'
        'key = "level 2"\ntime_pointer = "/t"\n',
    ]
    parts += [_probe_text(probe, length, width) for probe in probes["probes"] if probe["kind"] in KINDS]
    parts += [_zone_text(name, length, width) for name in probes["zones"]]
    parts.append(_meat_text(probes, wrap=wrap))
    return "\n".join(parts)


def _probe_text(probe: dict[str, Any], length: float, width: float) -> str:
    duty, level = KINDS[probe["kind"]]
    text = f'[[probe]]\nname = "{probe["id"]}"\nsource = "pit"\nduty = "{duty}"\n'
    if level:  # y of the config runs from the back to the door
        x, y, _ = probe["position"]
        x_cm, y_cm = min(max(x * 100.0, 0.0), length), min(max(width / 2.0 - y * 100.0, 0.0), width)
        text += f'level = "{level}"\nx = {x_cm:.2f}\ny = {y_cm:.2f}\n'
    return text


def _zone_text(name: str, length: float, width: float) -> str:
    third, _, side = name.partition("_")
    k = ("fire", "mid", "stack").index(third)
    low, high = (width / 2.0, width) if side == "front" else (0.0, width / 2.0)
    return (
        f'[[zone]]\nname = "{name}"\nlevel = "grate"\nx = [{length * k / 3:.2f}, {length * (k + 1) / 3:.2f}]\n'
        f"y = [{low:.2f}, {high:.2f}]\n"
    )


def _meat_text(probes: dict[str, Any], *, wrap: bool) -> str:
    parts = [probe["id"] for probe in probes["probes"] if probe["kind"] == "meat"]
    if not parts:
        return ""
    text = '[[meat]]\nname = "brisket"\ndone = "203 F"\n' + ('wrap = "165 F"\n' if wrap else "")
    return text + "".join(f'[meat.part.{part}]\nprobe = "{part}"\n' for part in parts)
