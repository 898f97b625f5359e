package season

import "strconv"

const (
	clubName     = "Brindlemere Athletic"
	folderFirst  = "inbox/first"
	folderSecond = "inbox/second"
	first        = "first"
	second       = "second"
)

// someone is a line of the roster: an invented person. Given names are from
// many places; family names were made up to sound like the same place.
type someone struct {
	id, name, initials string
	female             bool
	born               int
	device             device
}

// firstSquad is the pool from which the first squad takes its athletes, in
// this order. The devices of the first twenty hold every format.
var firstSquad = []someone{
	{"AKF", "Akinde Folaranti", "AF", false, 1998, fitWatch},
	{"BSO", "Brisa Solvaterra", "BS", true, 2001, fitLaps},
	{"CTW", "Cianán Tullowmar", "CT", false, 1996, tcxSmart},
	{"DVE", "Dagny Veskholm", "DV", true, 2000, fitWatch},
	{"EHI", "Emiko Hirasato", "EH", true, 1999, csvComma},
	{"FMB", "Farid Mabroukane", "FM", false, 1994, fitWatch},
	{"GVI", "Gintarė Vilkoraitė", "GV", true, 2002, gpxSmart},
	{"HNK", "Hoku Nakamahina", "HN", false, 1997, fitLaps},
	{"IRS", "Ilse Rosenvaarn", "IR", true, 1995, csvSemicolon},
	{"JPT", "Jivan Patelkar", "JP", false, 2003, fitWatch},
	{"KMW", "Kwabena Mensawu", "KM", false, 1999, tcxEvery},
	{"LCF", "Lucía Ferramonte", "LF", true, 1998, fitSmart},
	{"MTZ", "Milan Tazarov", "MT", false, 1993, fitBeats},
	{"NQT", "Nhi Quangthuy", "NQ", true, 2004, csvTab},
	{"ODL", "Oisín Dalrath", "OD", false, 2000, fitWatch},
	{"PGR", "Priya Gorakhan", "PG", true, 1997, fitWatch},
	{"QLS", "Quillan Lussac", "QL", false, 2001, gpxEvery},
	{"RSV", "Rana Sevdalioğlu", "RS", true, 1996, fitLaps},
	{"SKA", "Signe Kaldahvik", "SK", true, 2002, fitWatch},
	{"TWO", "Tevita Wolokoro", "TW", false, 1995, csvComma},
	{"UBA", "Ulrika Bastmark", "UB", true, 1999, fitSmart},
	{"VCH", "Vitor Chaveirinho", "VC", false, 1998, fitWatch},
	{"WZN", "Wanjiru Zanakiru", "WZ", true, 2001, fitWatch},
	{"XMO", "Xoán Moredal", "XM", false, 1997, fitSmart},
	{"YKB", "Yelena Kobrinskaya-Dal", "YK", true, 2000, fitWatch},
	{"ZIP", "Zaid Iparraq", "ZI", false, 1996, fitSmart},
	{"ANV", "Anahera Vaipuka", "AV", true, 2003, fitWatch},
	{"BJD", "Bastian Jordelin", "BJ", false, 1994, fitSmart},
	{"CMS", "Chipo Masvingura", "CM", true, 1998, fitWatch},
	{"DRT", "Dorji Ratsenang", "DR", false, 2002, fitSmart},
	{"EKL", "Eerika Kallionsuo", "EK", true, 1999, fitWatch},
	{"FBG", "Florin Băgureanu", "FB", false, 1995, fitSmart},
	{"GTH", "Gwenllian Tarhendy", "GT", true, 2001, fitWatch},
	{"HOZ", "Haruki Ozenari", "HO", false, 1997, fitSmart},
	{"INK", "Imani Nkalowe", "IN", true, 2000, fitWatch},
	{"JSV", "Janko Svetolin", "JS", false, 1998, fitSmart},
	{"KPU", "Kalei Puaonawa", "KP", true, 2004, fitWatch},
	{"LDM", "Leandro Dosmontes", "LD", false, 1996, fitSmart},
	{"MGY", "Mirjam Gyllenfors", "MG", true, 2002, fitWatch},
	{"NTB", "Nuno Tabuadelo", "NT", false, 1999, fitSmart},
}

// secondSquad trains with one receiver for all; its files are team exports.
var secondSquad = []someone{
	{"HDO", "Hamid Dorranzad", "HD", false, 2005, receiver},
	{"ITL", "Ineke Tolsvoort", "IT", true, 2006, receiver},
	{"JOB", "Jabu Obanzi", "JO", false, 2004, receiver},
	{"KRW", "Kirra Wandelong", "KW", true, 2005, receiver},
	{"LNE", "Lubomír Nezdařil-Havr", "LN", false, 2006, receiver},
	{"MSE", "Malia Seumanutai", "MS", true, 2004, receiver},
}

// person is an athlete with a body and a device.
type person struct {
	someone
	squad string
	index int

	hrmax    float64 // the body's own, bpm
	measured bool    // whether the club knows it
	hrrest   float64
	hrex     float64 // usual HRex, % of hrmax
	hrexSD   float64 // between tests, % points of hrmax
	hrr      float64 // usual HRR60, bpm
	hrrSD    float64
	tauOn    float64 // s
	tauOff   float64 // s, standing
	steps    float64 // steps a minute at 12 km/h

	serial      uint32 // of the strap
	watch       uint32 // serial of the recorder
	wearsAlways bool
	minutes     int // how long they usually record
	wave        int // 0 or 1: which half of the squad starts the test first
}

// body draws what an athlete is made of. Between tests an athlete's HRex varies with an SD of
// 1.2 to 1.6 points of %HRmax and HRR60 with 3.4 bpm (Scott et al. 2018,
// Sci Med Football 2:184-90; Shushan et al. 2023, Sports Med Open 9:21). Rise
// of heart rate: time constant 57.6 ± 23.6 s in Hunt et al. 2015
// (10.1186/s12938-015-0112-7), here from the faster half, as trained athletes
// are. Recovery: 52.5 ± 14.6 s seated and 74.1 ± 24.0 s moving in Barak et
// al. 2011 (JSSM 10:369-75), standing put between them.
func body(seed uint64, p *person) {
	r := chance(seed, "body", p.id)
	age := 2026 - p.born
	p.hrmax = float64(int(normal(r, 211-0.64*float64(age), 6, 172, 212)))
	p.measured = true
	p.hrrest = float64(int(normal(r, 54, 5, 42, 68)))
	p.hrex = normal(r, 80, 3, 75, 85)
	p.hrexSD = 1.2 + 0.4*r.Float64()
	p.hrr = normal(r, 39, 5, 30, 50)
	p.hrrSD = 3.4
	p.tauOn = normal(r, 45, 8, 28, 62)
	p.tauOff = normal(r, 60, 9, 42, 80)
	p.steps = normal(r, 166, 5, 154, 178)
	p.serial = 410000 + r.Uint32N(90000)
	p.watch = 3300000000 + r.Uint32N(90000000)
	switch p.device {
	case tcxEvery, gpxEvery: // wordy formats: these two stop after the warm-up
		p.minutes = uniform(r, 25, 27)
	case tcxSmart, gpxSmart:
		p.minutes = uniform(r, 26, 34)
	case receiver:
		p.minutes = 30
	default:
		p.minutes = uniform(r, 26, 46)
	}
	p.wave = p.index % 2
}

// roster returns n athletes of the first squad and the whole second squad.
func roster(seed uint64, n int) []person {
	people := make([]person, 0, n+len(secondSquad))
	for i, s := range firstSquad[:n] {
		people = append(people, person{someone: s, squad: first, index: i})
	}
	for i, s := range secondSquad {
		people = append(people, person{someone: s, squad: second, index: i})
	}
	for i := range people {
		p := &people[i]
		body(seed, p)
		// The club never measured these; canter estimates from the birth year.
		p.measured = p.id != "DVE" && p.id != "NQT" && p.id != "TWO" && p.id != "KRW"
		switch p.id {
		case "AKF", "DVE", "HNK", "LCF", "NQT", "VCH":
			p.wearsAlways = true
		}
	}
	return people
}

func (p *person) strapSerial() string { return strconv.FormatUint(uint64(p.serial), 10) }

// A second strap for the athlete whose first one fails; see story.go.
func (p *person) newStrapSerial() string { return strconv.FormatUint(uint64(p.serial)+100000, 10) }
