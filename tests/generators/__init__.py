"""Second motion generator of the tests: skates driven by a body and leg model."""
