"""Siltbook's icon on the desktop and in the menu of Windows, macOS and Linux."""
