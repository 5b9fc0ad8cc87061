"""The walk through a memory: steps to send, windows proven, rings watched, an account at the end."""
