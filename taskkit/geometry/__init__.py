"""Points, planes and polygons: metres on the ground. The only room that knows shapely and pyproj."""
