"""Documents of XML for other programs."""
