"""The season joined: results folders verified and added to the store, tables out of it, a person forgotten."""
