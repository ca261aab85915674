"""A wood-fired offset to rehearse against: a pit made of numbers, its probes, and the nights it can go through."""
