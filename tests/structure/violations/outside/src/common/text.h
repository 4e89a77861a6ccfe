// In a folder that is no layer.
