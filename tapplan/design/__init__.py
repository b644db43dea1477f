"""What a person writes: the design file, its model, its checks of sense, the published supply ranges."""
