package club

import (
	"bytes"
	"encoding/json"
	"errors"
)

// The types of this file are the club file as it is written: one struct a
// schema definition, one field a key. They are decoded after the schema has
// been checked, so decoding can't fail on what a user wrote.

// text is a scalar by its spelling: a name, a duration, or a serial number
// that somebody wrote without quotes.
type text string

// UnmarshalJSON takes strings and numbers by their spelling; null is "".
func (t *text) UnmarshalJSON(b []byte) error {
	b = bytes.TrimSpace(b)
	switch {
	case bytes.Equal(b, []byte("null")):
		*t = ""
		return nil
	case len(b) > 0 && b[0] == '"':
		return json.Unmarshal(b, (*string)(t))
	case len(b) > 0 && (b[0] == '{' || b[0] == '['):
		return errors.New("club: a list or mapping where the schema has a scalar")
	default:
		*t = text(b)
		return nil
	}
}

// short decodes the two spellings of an object: itself, or a scalar that
// stands for its first field.
func short[T any](b []byte, scalar *text, object *T) error {
	if b = bytes.TrimSpace(b); len(b) > 0 && b[0] == '{' {
		return json.Unmarshal(b, object)
	}
	return json.Unmarshal(b, scalar)
}

type clubWritten struct {
	Club       text                    `json:"club"`
	TimeZone   text                    `json:"time_zone"`
	Athletes   athletesWritten         `json:"athletes"`
	Squads     []*squadWritten         `json:"squads"`
	Folders    []*folderWritten        `json:"folders"`
	Protocols  []*protocolWritten      `json:"protocols"`
	Planned    []*plannedWritten       `json:"planned"`
	Thresholds *thresholdsWritten      `json:"thresholds"`
	Rules      map[string]*ruleWritten `json:"rules"`
	Privacy    *privacyWritten         `json:"privacy"`
	Chat       *chatWritten            `json:"chat"`
	Digest     *digestWritten          `json:"digest"`
	Files      *filesWritten           `json:"files"`
	Page       *pageWritten            `json:"page"`
}

type athletesWritten struct {
	File text              `json:"file"`
	List []*athleteWritten `json:"list"`
	// listed: the list stands right under athletes, without the key list.
	listed bool
	// short: the file's name stands right there.
	short bool
}

// UnmarshalJSON reads a file name, a list, or both.
func (a *athletesWritten) UnmarshalJSON(b []byte) error {
	if b = bytes.TrimSpace(b); len(b) > 0 && b[0] == '[' {
		a.listed = true
		return json.Unmarshal(b, &a.List)
	}
	type plain athletesWritten
	a.short = len(b) > 0 && b[0] == '"'
	return short(b, &a.File, (*plain)(a))
}

type athleteWritten struct {
	ID        text                 `json:"id"`
	Name      text                 `json:"name"`
	Initials  text                 `json:"initials"`
	Aliases   []text               `json:"aliases"`
	BirthYear text                 `json:"birth_year"`
	Sex       text                 `json:"sex"`
	HRmax     text                 `json:"hrmax"`
	HRrest    text                 `json:"hrrest"`
	Sensors   []*sensorWritten     `json:"sensors"`
	Squad     text                 `json:"squad"`
	From      text                 `json:"from"`
	To        text                 `json:"to"`
	Squads    []*membershipWritten `json:"squads"`
	Returns   []text               `json:"returns"`
}

type membershipWritten struct {
	Squad text `json:"squad"`
	From  text `json:"from"`
	To    text `json:"to"`
}

type sensorWritten struct {
	Serial text `json:"serial"`
	From   text `json:"from"`
	To     text `json:"to"`
}

// UnmarshalJSON reads a serial number or the object.
func (s *sensorWritten) UnmarshalJSON(b []byte) error {
	type plain sensorWritten
	return short(b, &s.Serial, (*plain)(s))
}

type squadWritten struct {
	ID        text             `json:"id"`
	Name      text             `json:"name"`
	Folders   []*folderWritten `json:"folders"`
	Channel   text             `json:"channel"`
	Protocols []text           `json:"protocols"`
}

type folderWritten struct {
	Path    text `json:"path"`
	Pattern text `json:"pattern"`
	CSVZone text `json:"csv_zone"`
	short   bool
}

// UnmarshalJSON reads a path or the object.
func (f *folderWritten) UnmarshalJSON(b []byte) error {
	type plain folderWritten
	f.short = bytes.HasPrefix(bytes.TrimSpace(b), []byte(`"`))
	return short(b, &f.Path, (*plain)(f))
}

type protocolWritten struct {
	ID             text            `json:"id"`
	Name           text            `json:"name"`
	Regimen        text            `json:"regimen"`
	Progression    text            `json:"progression"`
	Duration       text            `json:"duration"`
	SpeedKMH       text            `json:"speed_kmh"`
	Stages         []*stageWritten `json:"stages"`
	HRex           hrexWritten     `json:"hrex"`
	Recovery       delaysWritten   `json:"recovery"`
	Posture        text            `json:"posture"`
	EndWindow      text            `json:"end_window"`
	RecoveryWindow text            `json:"recovery_window"`
	Band           bandWritten     `json:"band"`
	MinCoverage    text            `json:"min_coverage"`
	SameAs         []text          `json:"same_as"`
}

type stageWritten struct {
	Duration text           `json:"duration"`
	SpeedKMH text           `json:"speed_kmh"`
	Rest     bool           `json:"rest"`
	Repeat   text           `json:"repeat"`
	Bouts    []*boutWritten `json:"bouts"`
}

type boutWritten struct {
	Duration text `json:"duration"`
	SpeedKMH text `json:"speed_kmh"`
	Rest     bool `json:"rest"`
}

type hrexWritten struct {
	Method text `json:"method"`
	Window text `json:"window"`
	short  bool
}

// UnmarshalJSON reads "final-mean:60s" or the object.
func (h *hrexWritten) UnmarshalJSON(b []byte) error {
	type plain hrexWritten
	h.short = bytes.HasPrefix(bytes.TrimSpace(b), []byte(`"`))
	return short(b, &h.Method, (*plain)(h))
}

// delaysWritten is a list of durations, or one.
type delaysWritten struct {
	List []text
	// given tells an empty list, no HRR, from none written.
	given, short bool
}

// UnmarshalJSON reads a list of delays or a single one.
func (d *delaysWritten) UnmarshalJSON(b []byte) error {
	if b = bytes.TrimSpace(b); len(b) > 0 && b[0] == '[' {
		d.given = true
		return json.Unmarshal(b, &d.List)
	}
	var one text
	if err := json.Unmarshal(b, &one); err != nil {
		return err
	}
	if one != "" {
		d.List, d.given, d.short = []text{one}, true, true
	}
	return nil
}

// bandWritten is "75-85", from whichever spelling.
type bandWritten struct{ text text }

// UnmarshalJSON reads "75-85" or [75, 85].
func (d *bandWritten) UnmarshalJSON(b []byte) error {
	if b = bytes.TrimSpace(b); len(b) > 0 && b[0] == '[' {
		var pair []text
		if err := json.Unmarshal(b, &pair); err != nil {
			return err
		}
		if len(pair) == 2 && pair[0] != "" && pair[1] != "" {
			d.text = pair[0] + "-" + pair[1]
		}
		return nil
	}
	return json.Unmarshal(b, &d.text)
}

type plannedWritten struct {
	ID            text   `json:"id"`
	Squad         text   `json:"squad"`
	Protocol      text   `json:"protocol"`
	Cron          text   `json:"cron"`
	Within        text   `json:"within"`
	RemindAfter   text   `json:"remind_after"`
	SayAllHere    bool   `json:"say_all_here"`
	MicrocycleDay text   `json:"microcycle_day"`
	Surface       text   `json:"surface"`
	From          text   `json:"from"`
	To            text   `json:"to"`
	Except        []text `json:"except"`
}

type thresholdsWritten struct {
	HRexRisePoints text `json:"hrex_rise_points"`
	HRexRiseBPM    text `json:"hrex_rise_bpm"`
	HRRFallBPM     text `json:"hrr_fall_bpm"`
	Z              text `json:"z"`
	MinBaseline    text `json:"min_baseline"`
	BaselineTests  text `json:"baseline_tests"`
	BaselineAge    text `json:"baseline_age"`
	HRexTE         text `json:"hrex_te"`
	HRRTE          text `json:"hrr_te"`
	TellWithin     text `json:"tell_within"`

	Baseline    text          `json:"baseline"`
	Reference   *blockWritten `json:"reference"`
	SquadPoints text          `json:"squad_points"`
	SquadHRRBPM text          `json:"squad_hrr_bpm"`
	DriftShift  text          `json:"drift_shift"`
	DriftTests  text          `json:"drift_tests"`
	Again       text          `json:"again"`
}

type blockWritten struct {
	From text `json:"from"`
	To   text `json:"to"`
}

type ruleWritten struct {
	On       *bool `json:"on"`
	Change   text  `json:"change"`
	Z        text  `json:"z"`
	Tests    text  `json:"tests"`
	MinTests text  `json:"min_tests"`
	Urgency  text  `json:"urgency"`
	HoldOff  text  `json:"hold_off"`
	Tell     text  `json:"tell"`
}

type privacyWritten struct {
	ChatNames    text `json:"chat_names"`
	PageNames    text `json:"page_names"`
	HistoryNames text `json:"history_names"`
	KeepFiles    text `json:"keep_files"`
	KeepHistory  text `json:"keep_history"`
}

type chatWritten struct {
	Kind      text `json:"kind"`
	Channel   text `json:"channel"`
	Hold      text `json:"hold"`
	TokenEnv  text `json:"token_env"`
	TokenFile text `json:"token_file"`
	APIURL    text `json:"api_url"`

	Sessions     text               `json:"sessions"`
	Pictures     *int               `json:"pictures"`
	AppTokenEnv  text               `json:"app_token_env"`
	AppTokenFile text               `json:"app_token_file"`
	Staff        []*chatUserWritten `json:"staff"`
	InDoubt      text               `json:"in_doubt"`
}

type chatUserWritten struct {
	User text `json:"user"`
	Name text `json:"name"`
}

type digestWritten struct {
	Weekly  text `json:"weekly"`
	Monthly text `json:"monthly"`
	Channel text `json:"channel"`
}

type filesWritten struct {
	Settle  text `json:"settle"`
	Rescan  text `json:"rescan"`
	MaxSize text `json:"max_size"`
}

type pageWritten struct {
	Listen      text   `json:"listen"`
	Hosts       []text `json:"hosts"`
	UsersFile   text   `json:"users_file"`
	CertFile    text   `json:"cert_file"`
	KeyFile     text   `json:"key_file"`
	BehindProxy bool   `json:"behind_proxy"`
}
