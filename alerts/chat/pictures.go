package chat

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/slack-go/slack"
)

// A picture goes in three calls: ask where to, send the bytes, and complete,
// which shows it in the channel with the message's text. Only the last is
// seen by anybody: whoever dies before it leaves nothing behind that staff
// could see, and files that nobody completes are dropped by the chat. A shared
// file bears no metadata, so its name, made of the message's id, is what it is
// known by when a later attempt looks for it.

const (
	// maxComment is the longest text beside a file, a section's.
	maxComment = maxSection
	// maxAlt is the longest text of a picture for who can't see it.
	maxAlt = 1000
	// picturesTried is how many attempts may fail before the text goes alone: a
	// firewall may let messages through, but no files.
	picturesTried = 3
)

// errNoPicture means that this chat will not take pictures; text it may.
var errNoPicture = errors.New("no picture")

// pictureName is a file's name; the number tells several of a message apart.
func pictureName(message string, n int) string { return fmt.Sprintf("%s-%d.png", message, n) }

// hasPicture reports whether a message shows the pictures of canter's message.
func hasPicture(msg *slack.Message, id string) bool {
	for i := range msg.Files {
		if strings.HasPrefix(msg.Files[i].Name, id+"-") && strings.HasSuffix(msg.Files[i].Name, ".png") {
			return true
		}
	}
	return false
}

// share shows pictures with a text beside them. Errors that speak of files
// rather than of the channel wrap [errNoPicture].
func (s *slackChat) share(ctx context.Context, p *Post, comment, thread string) (string, error) {
	channel, err := s.resolve(ctx, p.Channel)
	if err != nil {
		return "", err
	}
	var files []slack.FileSummary
	for i, pic := range p.Pictures {
		id, err := s.upload(ctx, pictureName(p.ID, i+1), pic)
		if err != nil {
			return "", s.noPicture(err, p.Channel)
		}
		files = append(files, slack.FileSummary{ID: id, Title: first(printable(pic.Title), 250)})
	}
	err = s.gates.through(ctx, "post "+p.Channel, s.cfg.Pace, func() error {
		_, err := s.api.CompleteUploadExternalContext(ctx, slack.CompleteUploadExternalParameters{
			Files: files, Channel: channel, InitialComment: comment, ThreadTimestamp: thread,
		})
		return err
	})
	if err != nil {
		return "", s.noPicture(err, p.Channel)
	}
	return files[0].ID, nil
}

// upload asks where to send a picture and sends it there; nobody sees it yet.
func (s *slackChat) upload(ctx context.Context, name string, pic Picture) (id string, err error) {
	var at *slack.GetUploadURLExternalResponse
	err = s.gates.through(ctx, "files", 0, func() (err error) {
		at, err = s.api.GetUploadURLExternalContext(ctx, slack.GetUploadURLExternalParameters{
			FileName: name, FileSize: len(pic.PNG), AltTxt: first(printable(pic.Alt), maxAlt),
		})
		return err
	})
	if err != nil {
		return "", err
	}
	err = s.gates.through(ctx, "files", 0, func() error {
		return s.api.UploadToURL(ctx, slack.UploadToURLParameters{UploadURL: at.UploadURL, Filename: name, Reader: bytes.NewReader(pic.PNG)})
	})
	if err != nil && strings.HasPrefix(err.Error(), "refusing to send") {
		// The library sends the token to the Web API's own address only; a proxy
		// may answer with another.
		return "", fmt.Errorf("%w: the address for files is not that of the Web API: check api_url in the club file", errNoPicture)
	}
	return at.FileID, err
}

// noPicture sorts an error of a call about files: what will not pass by itself
// and says nothing of the channel is no reason to keep the text back.
func (s *slackChat) noPicture(err error, channel string) error {
	if answer, ok := errors.AsType[slack.SlackErrorResponse](err); ok {
		switch answer.Err {
		case "channel_not_found", "not_in_channel", "is_archived", "thread_not_found", "invalid_auth", "not_authed", "token_revoked", "account_inactive":
			return err
		}
	}
	if sorted := classify(err, channel, s.cfg.Token); errors.Is(sorted, ErrRefused) {
		return fmt.Errorf("%w: %w", errNoPicture, sorted)
	}
	return err
}

// first returns at most n characters of a text.
func first(text string, n int) string {
	if r := []rune(text); len(r) > n {
		return string(r[:n-1]) + "…"
	}
	return text
}
