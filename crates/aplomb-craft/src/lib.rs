#![doc = "placeholder"]
