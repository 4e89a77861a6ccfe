// Neither a header nor a source.
