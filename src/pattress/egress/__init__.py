"""The ways to the outside: flow export, firewall and resolver logs, the connection table, and what they come to."""
