"""Opens what is on record, wherever it is: in the store on this machine, or at the server that holds many pits."""

from collector.kitchen.address import is_address
from collector.paths import store_file
from collector.store.record import Record

__all__ = ["open_record"]


def open_record(named: str = "") -> Record:
    """Open the record of a pit.

    Args:
        named: path of a store, or `postgresql://USER@HOST/DATABASE#PIT`; empty: the store of this machine.

    Raises:
        StoreError: there is none, or it cannot be read.
    """
    if is_address(named):
        from collector.kitchen.archive import KitchenArchive

        return KitchenArchive(named)
    from collector.store.archive import Archive

    return Archive(store_file(named))
