package message

// Caution ends every message about an athlete, short enough for a phone. Its
// three parts are those that no message goes without: what a flag is, when to
// stop (signs of FACTS 6.1), whose decision it is (FACTS 6.5).
const Caution = "Caution: a screening flag, not a diagnosis. Stop and get medical help for chest pain, " +
	"fainting or unusual breathlessness. Decisions belong to licensed medical staff and local policy."

// CautionInFull is for paper and pages: all signs of ACSM's advice on stopping
// a test (FACTS 6.1), and fever after Dick & Diehl 2014 (FACTS 6.3).
const CautionInFull = "Caution: a screening flag, not a diagnosis. Stop and get medical help for chest pain, " +
	"fainting or light-headedness, unusual breathlessness, pallor or bluish colour, confusion, unsteadiness, " +
	"or when the athlete asks to stop. No strenuous exercise with fever. " +
	"Decisions belong to licensed medical staff and local policy."

// lookNext lists what can move heart rate at a fixed load besides fitness
// (FACTS 3.1 to 3.6): the questions to ask, in the order they are quickest to
// answer.
const lookNext = "Look at next: load of the last days, illness (no strenuous exercise with fever), sleep and wellness, RPE, " +
	"heat and hydration, pace and surface, the strap."

// ambiguous is said wherever HRex is lower or recovery faster.
const ambiguous = "not good or bad by itself (overload does this too): read with load, RPE and wellness"

// strapNext is what to look at when a trace was unusable again.
const strapNext = "Look at next: battery, wet electrodes, strap size and place, whose strap it is.\n" +
	"Readings that jump are most often the strap. If they stay with another strap, or the athlete feels unwell, tell medical staff."

// sharedNext lists what a whole session can have in common (FACTS 3.1, 3.2, 3.6).
const sharedNext = "When everybody moves, look first at what everybody shared: heat and hydration, wind, pace, surface, warm-up, " +
	"a batch of straps, the load of the days before."
