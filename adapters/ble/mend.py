"""What to do about a radio that does not work, in words for a cook. The reasons are those of `LinkReason`."""

from adapters.errors import LinkReason

__all__ = ["MENDS"]

MENDS: dict[LinkReason, str] = {
    LinkReason.NO_BUS: (
        "is D-Bus installed and running? in a container, mount /run/dbus/system_bus_socket; elsewhere: "
        "systemctl start dbus"
    ),
    LinkReason.BUS_REFUSED: (
        "any user may normally reach org.bluez; in a container look at its user mapping and at AppArmor or SELinux, "
        "else at the D-Bus policy in bluetooth.conf"
    ),
    LinkReason.NO_BLUETOOTH: "install and start BlueZ: apt install bluez && systemctl enable --now bluetooth",
    LinkReason.NO_ADAPTER: (
        "plug in a Bluetooth adapter, or write the right name under adapter =; `bluetoothctl list` shows them"
    ),
    LinkReason.POWERED_OFF: "switch it on: bluetoothctl power on",
    LinkReason.BLOCKED: "unblock it: rfkill unblock bluetooth, or use the switch on the machine's case",
    LinkReason.STUCK: "switch the adapter off and on: bluetoothctl power off, then bluetoothctl power on",
    LinkReason.DEAF: (
        "if anything near it is switched on, the adapter is stuck: bluetoothctl power off, then bluetoothctl power on"
    ),
    LinkReason.NO_SLOT: "spread the probes over two adapters (adapter =), or take those that advertise",
    LinkReason.NOT_HEARD: (
        "is it switched on, near enough, and not connected to a phone? `coldside scan` shows what is heard"
    ),
    LinkReason.GONE: "is it switched on, near enough, and not connected to a phone?",
    LinkReason.SILENT: "is its probe plugged in? switch it off and on",
    LinkReason.UNDECODED: "is it the right layout, the right key (bind_key_file)? `coldside scan` shows what it sends",
    LinkReason.DEVICE_REFUSED: "it may want to be paired: bluetoothctl pair ADDRESS",
    LinkReason.NO_PASSIVE: (
        "it takes BlueZ 5.56 or later with its experimental interfaces on; else set passive = false under [bluetooth]"
    ),
    LinkReason.NO_TEMPERATURE: (
        "`coldside scan --connect ADDRESS` shows what it offers; describe it with a layout. If it worked before the "
        "device was updated, BlueZ remembers its old table: bluetoothctl remove ADDRESS"
    ),
}
"""Common practice on Linux, no source, except the D-Bus policy (seen in BlueZ's own bluetooth.conf)."""
