// Package historytest gives tests a history on a real engine: a SQLite file of
// their own, or a database of their own on a private ClickHouse server.
package historytest
