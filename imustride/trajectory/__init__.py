"""Stage track: the path of both blades along the lane, from a joint fit over the whole run."""
