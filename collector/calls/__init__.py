"""Calling people: who is told of a trouble, by what, when, and again, until somebody acknowledges it."""
