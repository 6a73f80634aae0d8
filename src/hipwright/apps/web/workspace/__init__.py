"""The Workspace screen: what is kept where, who reads, check-up, backup, about."""
