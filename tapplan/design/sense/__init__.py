"""Whether a well-formed design makes sense: rules that need more than one key, each a small generator."""
