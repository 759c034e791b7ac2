"""GIS files in, read by a child process. The only room that knows pyogrio."""
