"""The Cases screen: find a hip among all."""
