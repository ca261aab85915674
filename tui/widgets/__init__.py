"""Thin widgets: state in, drawing by `tui.draw`."""
