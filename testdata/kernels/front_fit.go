package main

func fitFronts(runs []*measuredFront) error { return nil }
