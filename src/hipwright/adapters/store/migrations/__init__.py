"""How a workspace's tables came to be, step by step."""
