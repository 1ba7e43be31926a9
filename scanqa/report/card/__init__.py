"""The first screen: which unit, what to do with it, what it is good for, where its faults are."""
