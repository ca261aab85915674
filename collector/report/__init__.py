"""The report of a cook: what it says, its pictures, its page and its document."""
