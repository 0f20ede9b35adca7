"""Preparing: the day's list becomes session folders; nothing is guessed, all faults are named at once."""
