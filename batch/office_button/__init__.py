"""Siltbook's menu and toolbar in LibreOffice Calc: an extension, made and registered."""
