package main

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"canter.example/schemas/club"
)

// How a finding stands: a problem must be mended before serve can do its work,
// what deserves a look may be as it is wanted.
const (
	levelFine    = "fine"
	levelLook    = "look"
	levelProblem = "problem"
)

// finding is one thing that check found out.
type finding struct {
	Level string `json:"level"`
	// About is the kind of thing: club file, folder, file, secret, data folder,
	// broker, history, chat, protocol, planned test.
	About string `json:"about"`
	// File is the file or folder, "" when it is neither. Line and Column count
	// from 1, 0 where there are none.
	File   string `json:"file"`
	Line   int    `json:"line"`
	Column int    `json:"column"`
	// Place is where in the file, or which one: a path in the club file, an
	// address, an id.
	Place string `json:"place"`
	Text  string `json:"text"`
	// Do says what to do about it, "" when nothing or when Text says it.
	Do string `json:"do"`
}

// String returns the finding on one line.
func (f finding) String() string {
	words := []string{f.About, f.File, f.Place}
	words = slices.DeleteFunc(words, func(s string) bool { return s == "" })
	text := fmt.Sprintf("%-8s %s: %s", f.Level, strings.Join(words, " "), f.Text)
	if f.Do != "" {
		text += ": " + f.Do
	}
	return printable(text)
}

// advised is an error with what to do about it.
type advised struct {
	error
	do string
}

// Unwrap returns the error without the advice.
func (a advised) Unwrap() error { return a.error }

// findings prints findings as they come.
type findings struct {
	w      io.Writer
	asJSON bool
	failed bool
	err    error // of writing
}

// add prints one.
func (fs *findings) add(f finding) {
	fs.failed = fs.failed || f.Level == levelProblem
	if fs.asJSON {
		fs.err = errors.Join(fs.err, jsonLines(fs.w, f))
		return
	}
	_, err := fmt.Fprintln(fs.w, f)
	fs.err = errors.Join(fs.err, err)
}

// say prints that a thing is fine, with f's text, or what is wrong with it.
func (fs *findings) say(f finding, err error) {
	f.Level = levelFine
	if err != nil {
		f.Level, f.Text = levelProblem, err.Error()
		if a, ok := errors.AsType[advised](err); ok {
			f.Do = a.do
		}
	}
	fs.add(f)
}

// look prints things that deserve one.
func (fs *findings) look(list ...finding) {
	for _, f := range list {
		f.Level = levelLook
		fs.add(f)
	}
}

// clubFile prints all that is wrong with the club file.
func (fs *findings) clubFile(name string, err error) {
	var list club.Problems
	if !errors.As(err, &list) {
		fs.say(finding{About: "club file", File: name}, err)
		return
	}
	for _, p := range list {
		fs.add(finding{Level: levelProblem, About: "club file", File: p.File, Line: p.Line, Column: p.Column, Place: p.Path, Text: p.Text, Do: p.Hint})
	}
}
