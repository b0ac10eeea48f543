"""The classroom yard: a small simulation of the rig, faults to find in it, and drivers of all kinds."""
