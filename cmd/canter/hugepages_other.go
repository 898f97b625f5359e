//go:build !linux

package main

func hugePages(int) {}
