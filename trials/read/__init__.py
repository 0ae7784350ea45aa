"""A trial's file, read part by part, with every fault and its place."""
