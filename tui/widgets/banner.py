"""The banner across the screen when what is shown is not the truth, or is not safe."""

from textual.content import Content
from textual.widgets import Static

from tui.draw.banner import Trouble

__all__ = ["Banner"]


class Banner(Static):
    """Hidden while all is well."""

    def show(self, trouble: Trouble | None) -> None:
        """Show a trouble, or nothing."""
        self.display = trouble is not None
        if trouble is None:
            return
        self.set_class(trouble.role == "alarm", "-alarm")
        self.update(Content.assemble((trouble.headline, "bold"), "\n", trouble.meaning))
