package history

import (
	"context"
	"fmt"
	"time"

	"canter.example/schemas"
)

// exists tells whether the stored table has a row that meets the condition.
func (s *clickhouseStore) exists(ctx context.Context, table, condition string, args ...any) (bool, error) {
	var n uint64
	err := s.conn.QueryRow(ctx, "SELECT count() FROM "+table+" WHERE "+condition, args...).Scan(&n)
	return n > 0, err
}

// SaveCorrection implements [Store].
func (s *clickhouseStore) SaveCorrection(ctx context.Context, c schemas.Correction) error {
	row, err := correctionValues(&c, noClock)
	if err == nil {
		var there bool
		if there, err = s.exists(ctx, "stored_corrections", "correction_id = ?", c.ID); there {
			return nil
		}
	}
	if err == nil {
		err = s.insert(ctx, "stored_corrections", correctionColumns.plain, [][]any{correctionColumns.withoutTimes(row)})
	}
	if err != nil {
		return fmt.Errorf("history: save correction %s: %w", c.ID, err)
	}
	return nil
}

// SaveAlert implements [Store].
func (s *clickhouseStore) SaveAlert(ctx context.Context, a schemas.Alert, messages []schemas.Message) error {
	if err := s.addMessages(ctx, messages); err != nil {
		return fmt.Errorf("history: save alert %s: %w", a.ID, err)
	}
	return s.SaveAlerts(ctx, []schemas.Alert{a})
}

// SaveAlerts implements [Store].
func (s *clickhouseStore) SaveAlerts(ctx context.Context, as []schemas.Alert) error {
	if len(as) == 0 {
		return nil
	}
	rows := make([][]any, len(as))
	for i := range as {
		row, err := alertValues(&as[i], noClock)
		if err != nil {
			return fmt.Errorf("history: save alert %s: %w", as[i].ID, err)
		}
		rows[i] = alertColumns.withoutTimes(row)
	}
	if err := s.insert(ctx, "stored_alerts", alertColumns.plain, rows); err != nil {
		return fmt.Errorf("history: save %s: %w", alertsInWords(as), err)
	}
	return nil
}

var storedMessageColumns = append(append([]string{}, messageColumns.plain...), "rank")

func storedMessage(m *schemas.Message) ([]any, error) {
	row, err := messageValues(m, noClock)
	if err != nil {
		return nil, err
	}
	return append(messageColumns.withoutTimes(row), messageRank(m)), nil
}

// addMessages inserts the messages that are not there yet. One that another
// process adds meanwhile has at least the rank of the row added here.
func (s *clickhouseStore) addMessages(ctx context.Context, messages []schemas.Message) error {
	if len(messages) == 0 {
		return nil
	}
	ids := make([]any, len(messages))
	for i := range messages {
		ids[i] = messages[i].ID
	}
	there, err := clickhouseRows(ctx, s, "messages", func(scan scanner) (id string, err error) { return id, scan(&id) },
		"SELECT message_id FROM stored_messages WHERE message_id IN ("+marks(len(ids))+")", ids...)
	if err != nil {
		return err
	}
	known := make(map[string]bool, len(there))
	for _, id := range there {
		known[id] = true
	}
	var rows [][]any
	for i := range messages {
		row, err := storedMessage(&messages[i])
		if err != nil {
			return err
		}
		if !known[messages[i].ID] {
			known[messages[i].ID] = true
			rows = append(rows, row)
		}
	}
	return s.insert(ctx, "stored_messages", storedMessageColumns, rows)
}

// SaveMessage implements [Store].
func (s *clickhouseStore) SaveMessage(ctx context.Context, m schemas.Message) error {
	row, err := storedMessage(&m)
	if err == nil {
		err = s.insert(ctx, "stored_messages", storedMessageColumns, [][]any{row})
	}
	if err != nil {
		return fmt.Errorf("history: save message %s: %w", m.ID, err)
	}
	return nil
}

// SaveNote implements [Store].
func (s *clickhouseStore) SaveNote(ctx context.Context, n schemas.Note) error {
	row, err := noteValues(&n, noClock)
	if err == nil {
		var there bool
		if there, err = s.exists(ctx, "stored_notes", "note_id = ?", n.ID); there {
			return nil
		}
	}
	if err == nil {
		err = s.insert(ctx, "stored_notes", noteColumns.plain, [][]any{noteColumns.withoutTimes(row)})
	}
	if err != nil {
		return fmt.Errorf("history: save note %s: %w", n.ID, err)
	}
	return nil
}

// MarkSlot implements [Store].
func (s *clickhouseStore) MarkSlot(ctx context.Context, job, slot string, at time.Time) error {
	there, err := s.exists(ctx, "stored_slots", "job = ? AND slot = ? AND done_ms <= ?", job, slot, millis(at))
	if err == nil && !there {
		err = s.insert(ctx, "stored_slots", []string{"job", "slot", "done_ms"}, [][]any{{job, slot, millis(at)}})
	}
	if err != nil {
		return fmt.Errorf("history: save slot %s of %s: %w", slot, job, err)
	}
	return nil
}

// SaveAthletes implements [Store].
func (s *clickhouseStore) SaveAthletes(ctx context.Context, as []AthleteRow) error {
	if err := s.saveAthletes(ctx, as); err != nil {
		return fmt.Errorf("history: save athletes: %w", err)
	}
	return nil
}

func (s *clickhouseStore) saveAthletes(ctx context.Context, as []AthleteRow) error {
	d := newDigest()
	rows := make([][]any, 0, len(as)+1)
	for i := range as {
		row, err := athleteValues(&as[i])
		if err != nil {
			return err
		}
		if err := d.add(row); err != nil {
			return err
		}
		rows = append(rows, row)
	}
	sum := d.sum()
	if len(rows) == 0 {
		rows = append(rows, []any{"", "", "", "[]", nil, "", nil, "", nil, nil})
	}
	var newest uint64
	if err := s.conn.QueryRow(ctx, "SELECT max(snapshot) FROM stored_athletes").Scan(&newest); err != nil {
		return err
	}
	const low = 1<<32 - 1
	if newest != 0 && newest&low == sum&low {
		return nil // it is what is there
	}
	snapshot := (newest>>32+1)<<32 | sum&low
	for i := range rows {
		rows[i] = append(rows[i], snapshot)
	}
	return s.insert(ctx, "stored_athletes", append(append([]string{}, athleteColumns.plain...), "snapshot"), rows)
}
