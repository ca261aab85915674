"""`coldside init`: a commented config to start from."""

import argparse
import sys

from tui.commands.options import add_config
from tui.exit_codes import Exit

__all__ = ["TEMPLATE", "add_options", "run"]

TEMPLATE = """\
# coldside: your pit. Check it with `coldside check`, try it with `coldside rehearse`.

[chamber]
name = "the yard pit"
shape = "cylinder"        # or "box"
length = 48               # inside, from the fire end to the stack end
width = 20                # across, at the grate
unit = "in"               # or "cm"; all lengths in this file are in it
fire_side = "left"        # where the firebox stands when you look at the door

[cook]
target = "235 F"          # what the grate should hold
band = "25 F"             # how far above and below is all right

[display]
unit = "F"                # or "C"; what is stored does not depend on it
theme = "dark"            # "light", "high-contrast"
# bell = true           # ring the terminal's bell at a new alarm
# keys = { "mark-split" = "f2" } # another key for an action; `?` in the dashboard lists them

# [store]
# path = "~/cooks.db"     # default: see `coldside paths`
# commit_seconds = 1      # what a crash of coldside may cost
# durable_seconds = 10    # what a power cut may cost
# server = "postgresql://smoke@kitchen/coldside"  # a copy for all pits; password_file = "kitchen.password"

# Dashboards and phones on other machines; `coldside token` makes what they need, the README says how.
# [serve]
# listen = "0.0.0.0:8765"           # the whole house; "127.0.0.1:8765" for ssh -L alone
# certificate_file = "pit.crt"      # `coldside token certificate --host pit.local` makes both
# key_file = "pit.key"
# hosts = ["pit.local"]             # names under which it is reached

# Where readings come from. More [[source]] tables may follow.
[[source]]
name = "house"
kind = "mqtt"
host = "localhost"
# port = 1883
# version = "5"           # or "3.1.1"
# user = "pit"
# password_file = "broker.password"   # beside this file, readable by you alone
# tls = true
# ca_file = "ca.pem"
# availability = [{ topic = "pit/bridge/state", online = "online", offline = "offline" }]

[[source.subscribe]]
filter = "pit/probe/+"    # + one level, # all below
payload = "number"        # "json", "senml", "senml-cbor"
unit = "F"
key = "level 3"           # the probe key: third level of the topic; "topic", or a JSON Pointer
# payload = "json"
# value = "/temperature"  # JSON Pointers (RFC 6901)
# unit_pointer = "/unit"
# time_pointer = "/time"

# A Bluetooth Low Energy device; `coldside scan` shows what is in the air, `--toml` prints blocks like this one.
# [[source]]
# name = "meat"
# kind = "ble"
# address = "C0:1D:51:DE:00:02"    # or device = "name*", service = "181a", company = 0xFFFF
# layout = "box"                   # where it follows no standard: a [layout.box], see the README
# bind_key_file = "meat.key"       # of encrypted BTHome
# adapter = "hci0"                 # all sources name theirs, or none does

# Where each probe is: x from the fire end, y from the back to the door.
[[probe]]
name = "fire end"
source = "house"
key = "1"
x = 6
y = 10

[[probe]]
name = "middle"
source = "house"
key = "2"
x = 24
y = 10

[[probe]]
name = "flat"
source = "house"
key = "3"
x = 34
y = 10
# tolerance = "1 F"       # how far off it may be
# tolerance_class = "IEC 60751 B"     # what its maker states, in place of that
# offset = "-2 F"         # added to what it says, until it is calibrated: `coldside calibrate`
# stale_after = 120       # seconds of silence before it counts as gone

[[probe]]
name = "stack end"
source = "house"
key = "4"
x = 43
y = 10

# [[probe]]
# name = "under the lid"
# source = "house"
# key = "5"
# level = "top"
# x = 24
# y = 10

# [[probe]]
# name = "brisket flat"
# source = "house"
# key = "6"
# duty = "meat"           # or "ambient"
# x = 32
# y = 10
# target = "203 F"        # of a probe that is in no piece below

# [[probe]]
# name = "brisket point"
# source = "house"
# key = "7"
# duty = "meat"
# x = 22
# y = 10

# A piece of meat, with the probe in each of its parts; or `coldside meat add` once it cooks.
# [[meat]]
# name = "brisket"
# mass = "13 lb"
# x = [14, 38]            # where it lies, from the fire end; it is drawn on the map
# y = [5, 15]
# wrap = "165 F"
# done = "203 F"
# serve = "13:00"         # the first at least 4 hours after it goes on
# rest = 60               # minutes between done and served
# species = "beef"        # "pork", "lamb", "poultry"; a brisket is beef and a pork shoulder pork without it
# intact = false          # injected, bladed, tied open or ground
# hold = "135 F"          # no colder than this while it is held
# cooling = "food-code"   # limits of the FDA Food Code 3-501.14; "appendix-b": of USDA FSIS Appendix B
# [meat.part.flat]
# probe = "brisket flat"
# [meat.part.point]
# probe = "brisket point"
# done = "205 F"          # its own, in place of the piece's

# Parts of the grate with a name.
[[zone]]
name = "firebox end"
x = [0, 14]
y = [0, 20]

[[zone]]
name = "point side"
x = [14, 28]
y = [0, 20]

[[zone]]
name = "flat side"
x = [28, 48]
y = [0, 20]

# Alarms: cold-spot, drift, pit-low, spread, lid-open, source-silent, probe-silent, probe-lying, battery-low; of each
# piece of meat wrap-ready, done, meat-falling, stall-long, slipping, hold-floor, danger-soon, danger-over, cool-late,
# slow-come-up, come-up-over.
# [alarm.cold-spot]
# limit = "15 F"          # how far below
# against = "level"       # the mean of its level; "target", or "usual": what it was in earlier cooks of this pit
# deadband = "3 F"
# on_delay = 150          # seconds
# priority = 1            # 1 wakes you, 2 soon, 3 note
# latch = true            # stays, when it is over, until you reset it
# shelve_at_most = 60     # minutes it may be put aside; 0: not at all; default: twelve hours
# [alarm.battery-low]
# percent = 15
"""


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of `init`."""
    add_config(parser)


def run(options: argparse.Namespace) -> int:
    """Write the config; never over one that is there."""
    from collector.caution import FIRE_CAUTION
    from collector.paths import config_file

    path = config_file(options.config)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("x", encoding="utf-8") as file:
            file.write(TEMPLATE)
    except FileExistsError:
        print(f"coldside: {path} is there already; it is left as it is", file=sys.stderr)
        return Exit.FAILED
    print(f"{path} written. Edit it, then: coldside check -c {path}")
    print(FIRE_CAUTION)
    return Exit.OK
