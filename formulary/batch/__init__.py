"""A recipe version worked out for a size; its checks."""
