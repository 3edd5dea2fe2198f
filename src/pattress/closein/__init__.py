"""The check of a freshly fitted module before its wall closes."""
