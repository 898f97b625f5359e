package formats

import (
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"
)

// columnKind is what a CSV column holds, as its heading says.
type columnKind int

const (
	unnamedColumn columnKind = iota // no known heading
	otherColumn                     // known, and not needed
	stampColumn                     // date and time, or Unix time
	dateColumn
	clockColumn
	timeColumn // clock time or time since the start: the values tell
	elapsedColumn
	hrColumn
	speedColumn
	cadenceColumn
	athleteColumn
	athleteIDColumn
	firstNameColumn
	lastNameColumn
	serialColumn
	startColumn // of a preamble: when the recording began
)

// headingWords are the headings met in exports, without units; foldWords
// makes case, accents and punctuation not matter. English, German, French,
// Spanish, Italian, Portuguese, Dutch, the Scandinavian languages, Finnish,
// Polish. To teach canter another, add it here.
var headingWords = func() map[string]columnKind {
	m := make(map[string]columnKind)
	for kind, list := range map[columnKind]string{
		hrColumn: "hr,heart rate,heartrate,heart rate value,hr value,bpm,beats per minute,pulse,pulse rate,hf,herzfrequenz,puls," +
			"pulsfrequenz,herzschlag,fc,fréquence cardiaque,pouls,frecuencia cardiaca,pulso,pulsaciones,ppm,frequenza cardiaca," +
			"battito,frequencia cardiaca,hartslag,hartfrequentie,hjertefrekvens,hjertefrequens,hjartfrekvens,syke,tetno",
		stampColumn: "timestamp,time stamp,datetime,date time,date and time,date/time,utc,utc time,time utc,unix time,unix,epoch," +
			"unix timestamp,zeitstempel,datum zeit,datum uhrzeit,horodatage,date heure,date et heure,fecha hora,fecha y hora," +
			"data ora,data e ora,data hora,tijdstip,tijdstempel,tidsstempel,tidspunkt,aikaleima",
		dateColumn:  "date,datum,fecha,data,dato,paivamaara,day,session date,activity date,local date",
		clockColumn: "clock,clock time,time of day,local time,uhrzeit,heure,hora,ora,klokkeslaet,klockslag,kellonaika,godzina,start of day",
		timeColumn:  "time,zeit,temps,tiempo,tempo,tijd,tid,aika,czas",
		elapsedColumn: "elapsed,elapsed time,elapsed seconds,seconds,second,secs,sec,s,t,session time,time elapsed,duration,timer," +
			"time since start,seconds since start,laufzeit,dauer,temps ecoule,duree,tiempo transcurrido,verstreken tijd",
		speedColumn: "speed,velocity,vel,enhanced speed,gps speed,current speed,instantaneous speed,running speed,geschwindigkeit," +
			"vitesse,velocidad,velocidade,velocita,snelheid,hastighet,hastighed,fart,nopeus,predkosc",
		cadenceColumn: "cadence,cad,run cadence,running cadence,step rate,step frequency,stride rate,steps per minute,spm," +
			"schrittfrequenz,kadenz,cadencia,cadenza,kadens,cadens,stapfrequentie",
		athleteColumn: "athlete,athlete name,player,player name,name,full name,participant,subject,runner,spieler,spielerin," +
			"spielername,sportler,sportlerin,athlet,athletin,joueur,joueuse,nom,jugador,jugadora,atleta,deportista,nombre," +
			"giocatore,giocatrice,jogador,jogadora,nome,speler,speelster,naam,spelare,spiller,pelaaja,zawodnik,zawodniczka,namn,navn,nimi",
		athleteIDColumn: "athlete id,player id,participant id,subject id",
		firstNameColumn: "first name,firstname,forename,given name,vorname,prenom,voornaam,fornamn,fornavn,etunimi",
		lastNameColumn:  "last name,lastname,surname,family name,nachname,nom de famille,apellido,apellidos,cognome,sobrenome,achternaam,efternamn,etternavn,sukunimi",
		serialColumn:    "serial,serial number,device id,device serial,sensor,sensor id,sensor serial,strap,strap id,transmitter,transmitter id,hr sensor",
		startColumn:     "start,start time,starttime,start date,started,begin,begin time,recording start,session start,startzeit,beginn,debut,heure de debut,inicio,hora de inicio,inizio,starttijd,starttid",
		otherColumn: "distance,dist,total distance,distances,power,watts,altitude,elevation,alt,ele,lat,latitude,lon,long,lng,longitude," +
			"temperature,temp,pace,laps,lap,calories,kcal,energy,acceleration,acc,x,y,z,sample,sample rate,row,no,nr,index,idx," +
			"position,grade,slope,stride length,satellites,sats,hdop,gps quality,event,marker,notes,note,comment,team,squad,session," +
			"drill,period,phase,activity,load,player load,rr,rr interval,r r,ibi,hrv,zone,hr zone,sex,age,weight,height,vo2,ve,rer,rpe,steps," +
			"battery,heading,bearing,accuracy,hrmax,hr max,max hr,avg hr,hr avg,average hr,mean hr,hr mean,min hr,hr min,hr percent," +
			"sport,type,version,device,product,id,position x,position y,distanz,strecke,hohe,leistung,temperatur,puissance,altitud,potencia," +
			"average heart rate,max heart rate,maximum heart rate,minimum heart rate,resting heart rate,rest hr,hr rest,ground contact time,vertical oscillation",
	} {
		for w := range strings.SplitSeq(list, ",") {
			m[foldWords(w)] = kind
		}
	}
	return m
}()

// hrWords mark a heading such as "Ada heart rate" as that of an athlete's
// heart rate; statWords say that it is a summary or a zone instead.
var (
	hrWords   = wordSet("hr heart rate heartrate bpm pulse puls hf herzfrequenz fc hartslag syke fréquence frecuencia frequenza frequencia cardiaque cardiaca")
	statWords = wordSet("avg average mean max maximum min minimum zone zones percent pct resting rest recovery reserve target limit sd var variability sensor quality")
)

func wordSet(list string) map[string]bool {
	m := make(map[string]bool)
	for w := range strings.FieldsSeq(list) {
		m[foldWords(w)] = true
	}
	return m
}

// units that a heading may carry, folded, with the name the readers use.
var units = map[string]string{
	"bpm": "bpm", "beats/min": "bpm", "1/min": "bpm", "b/min": "bpm", "min-1": "bpm", "s/min": "bpm", "ppm": "bpm",
	"km/h": "km/h", "kmh": "km/h", "kph": "km/h", "km h": "km/h", "km/u": "km/h", "km·h-1": "km/h",
	"m/s": "m/s", "mps": "m/s", "m s": "m/s", "m·s-1": "m/s", "m/sec": "m/s",
	"mph": "mph", "mi/h": "mph", "m/min": "m/min",
	"spm": "spm", "steps/min": "spm", "steps per minute": "spm",
	"rpm": "rpm", "strides/min": "rpm", "strides per minute": "rpm",
	"s": "s", "sec": "s", "secs": "s", "second": "s", "seconds": "s",
	"ms": "ms", "msec": "ms", "milliseconds": "ms",
	"min": "min", "mins": "min", "minutes": "min",
	"utc": "utc", "gmt": "utc", "z": "utc",
	"hh:mm:ss": "", "h:mm:ss": "", "mm:ss": "", "hh:mm:ss.sss": "",
}

// heading is a column's heading, understood.
type heading struct {
	text string // as in the file, cleaned
	kind columnKind
	unit string
	// athlete is who the column belongs to, in a heading such as "Ada (bpm)".
	athlete string
}

// foldWords lowers the case and removes accents, brackets and punctuation.
func foldWords(s string) string {
	var b strings.Builder
	space := false
	for _, r := range norm.NFD.String(strings.ToLower(s)) {
		switch {
		case unicode.Is(unicode.Mn, r):
		case unicode.IsLetter(r) || unicode.IsDigit(r) || r == '%' || r == '#':
			if space && b.Len() > 0 {
				b.WriteByte(' ')
			}
			space = false
			b.WriteRune(r)
		default:
			space = true
		}
	}
	return b.String()
}

// readHeading understands one heading.
func readHeading(cell string) heading {
	h := heading{text: cleanText(strings.Trim(cell, " \t\"'\ufeff"))}
	words, unit := cutUnit(strings.ToLower(h.text))
	h.unit = unit
	folded := foldWords(words)
	if kind, ok := headingWords[folded]; ok {
		h.kind = kind
		if kind == timeColumn && (unit == "s" || unit == "ms" || unit == "min") {
			h.kind = elapsedColumn
		}
		if h.unit == "" {
			h.unit = units[folded] // the whole heading is a unit, such as "steps per minute"
		}
		return h
	}
	h.kind, h.athlete = ofAthlete(h.text, unit)
	return h
}

// cutUnit parts a heading from the unit in brackets, or behind a last space.
func cutUnit(s string) (words, unit string) {
	if i := strings.IndexAny(s, "(["); i >= 0 {
		inside := strings.TrimRight(s[i+1:], ")] ")
		if u, ok := units[strings.TrimSpace(inside)]; ok {
			return s[:i], u
		}
		return s, ""
	}
	const separators = " _,/"
	for i := range len(s) { // the longest unit first: "m/s" before "s"
		if i == 0 || !strings.ContainsRune(separators, rune(s[i])) {
			continue
		}
		if u, ok := units[strings.TrimSpace(s[i+1:])]; ok {
			if _, whole := headingWords[foldWords(s)]; !whole {
				return s[:i], u
			}
		}
	}
	return s, ""
}

// ofAthlete tells whether a heading without a known meaning is an athlete's
// heart rate, "Ada heart rate (bpm)", and whose.
func ofAthlete(text, unit string) (columnKind, string) {
	marked := unit == "bpm"
	var name []string
	fields := strings.FieldsFunc(text, func(r rune) bool { return unicode.IsSpace(r) || strings.ContainsRune("_()[]:|", r) })
	for _, f := range fields {
		w := foldWords(f)
		switch {
		case statWords[w] || strings.HasPrefix(w, "%"):
			return otherColumn, ""
		case hrWords[w]:
			marked = true
		case w != "":
			name = append(name, f)
		}
	}
	if !marked {
		if unit != "" {
			return otherColumn, "" // some other channel with a unit of its own
		}
		return unnamedColumn, text
	}
	return hrColumn, strings.Trim(strings.Join(name, " "), " -–/,")
}
