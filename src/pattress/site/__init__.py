"""The files that a person writes, into typed objects. Every error names file, line and the way out."""
