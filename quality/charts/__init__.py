"""Pictures drawn on the server as SVG, the same on the page and in print."""
