"""Old spreadsheets and logger files into a book: recognise, ask, show, then fill."""
