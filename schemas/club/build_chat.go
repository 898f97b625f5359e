package club

import (
	"fmt"
	"net/url"
	"strings"
	"time"
)

func (b *builder) chat(w *chatWritten) {
	c := Chat{Kind: ChatTerminal, Hold: DefaultHold, Sessions: TellAll, Pictures: DefaultPictures, InDoubt: Repeat}
	if w != nil {
		if c.Hold = 0; w.Hold != "never" {
			c.Hold = b.length("chat.hold", w.Hold, DefaultHold, 10*time.Millisecond, 10*time.Minute)
		}
		c.Channel, c.TokenEnv, c.APIURL = string(w.Channel), string(w.TokenEnv), string(w.APIURL)
		if w.Kind != "" {
			c.Kind = ChatKind(w.Kind)
		}
		if w.TokenFile != "" {
			c.TokenFile = b.absolute(w.TokenFile)
		}
		if c.TokenEnv != "" && c.TokenFile != "" {
			b.fail("chat.token_file", "token_env and token_file are both given", "Keep one of them")
		}
		b.chatStaff(w, &c)
		if u, err := url.Parse(c.APIURL); c.APIURL != "" && (err != nil || u.Host == "") {
			b.fail("chat.api_url", quote(c.APIURL)+" is not a web address", "Write it whole, such as https://chat-proxy.example/api/")
		}
	}
	if c.Kind == ChatSlack {
		if c.TokenEnv == "" && c.TokenFile == "" {
			c.TokenEnv = DefaultTokenEnv
		}
		if c.Channel == "" && !b.doubted("chat") {
			b.fail("chat", "channel is missing", `Messages about files need one: channel: "#fitness"`)
		}
	}
	if c.Kind == ChatWebhook && c.TokenEnv == "" && c.TokenFile == "" {
		c.TokenEnv = DefaultWebhookEnv
	}
	b.club.Chat = c
}

// chatStaff reads what a chat needs for its buttons, and what it is told.
func (b *builder) chatStaff(w *chatWritten, c *Chat) {
	if w.Sessions != "" {
		c.Sessions = Telling(w.Sessions)
	}
	if w.InDoubt != "" {
		c.InDoubt = InDoubt(w.InDoubt)
	}
	if w.Pictures != nil {
		c.Pictures = *w.Pictures
	}
	c.AppTokenEnv = string(w.AppTokenEnv)
	if w.AppTokenFile != "" {
		c.AppTokenFile = b.absolute(w.AppTokenFile)
	}
	if c.AppTokenEnv != "" && c.AppTokenFile != "" {
		b.fail("chat.app_token_file", "app_token_env and app_token_file are both given", "Keep one of them")
	}
	seen := map[string]string{}
	for i, u := range w.Staff {
		if u == nil || u.User == "" {
			continue
		}
		at := fmt.Sprintf("chat.staff[%d]", i)
		if first, twice := seen[string(u.User)]; twice {
			b.fail(at+".user", fmt.Sprintf("%s is there twice, first on line %d", quote(string(u.User)), b.placeOf(first).line), "Keep one of them")
			continue
		}
		seen[string(u.User)] = at + ".user"
		c.Staff = append(c.Staff, ChatUser{User: string(u.User), Name: strings.TrimSpace(string(u.Name))})
	}
	if hasToken := c.AppTokenEnv != "" || c.AppTokenFile != ""; hasToken != (len(c.Staff) > 0) && !b.doubted("chat") {
		if hasToken {
			b.fail("chat", "staff is missing, and without it nobody may press a button", `Say who may: staff: [{user: U012345678, name: K. Moss}]`)
		} else {
			b.fail("chat.staff", "buttons need an app-level token, and neither app_token_env nor app_token_file is given", "Add app_token_env: CANTER_CHAT_APP_TOKEN, or take staff out")
		}
	}
}

func (b *builder) digest(w *digestWritten) {
	d := Digest{Weekly: DefaultWeekly, Monthly: DefaultMonthly}
	if w != nil {
		d.Channel = string(w.Channel)
		d.Weekly = b.digestCron("digest.weekly", w.Weekly, d.Weekly)
		d.Monthly = b.digestCron("digest.monthly", w.Monthly, d.Monthly)
	}
	b.club.Digest = d
}

func (b *builder) digestCron(at string, w text, def string) string {
	switch w {
	case "":
		return def
	case "never":
		return ""
	}
	s, err := parseCron(string(w))
	switch {
	case err != nil:
		b.word(at, err)
	case !s.everFires():
		b.fail(at, quote(string(w))+" never happens", "Check day and month: that date is in no year")
	case s.perDay() > 1:
		b.fail(at, fmt.Sprintf("%s sends the digest %d times a day", quote(string(w)), s.perDay()), "The first two fields are minute and hour: 0 7 * * MON is Monday at 7:00")
	}
	return string(w)
}
