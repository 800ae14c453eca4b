"""The HTTP surface of the contract."""
