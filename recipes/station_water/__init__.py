"""The water a station gets by itself where a formula states the cup and no water."""
