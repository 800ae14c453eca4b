"""The board: pages that map the API's answers to components."""
