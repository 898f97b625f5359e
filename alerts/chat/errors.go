package chat

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"time"

	"github.com/slack-go/slack"
)

var (
	// ErrTemporary means that the chat did not take the message now; try again later.
	// The message may have gone out all the same, so count the attempt.
	ErrTemporary = errors.New("chat can't take the message now")
	// ErrRefused means that the chat will not take the message until somebody changes
	// something; trying again changes nothing.
	ErrRefused = errors.New("chat refuses the message")
)

// TemporaryError is an [ErrTemporary] with what is known of it.
type TemporaryError struct {
	// RetryAfter is how long the chat asks to be left alone, 0 when it did not say.
	RetryAfter time.Duration
	// Reason in words.
	Reason string
	err    error
}

// Error returns the reason in words.
func (e *TemporaryError) Error() string { return ErrTemporary.Error() + ": " + e.Reason }

// Unwrap makes errors.Is see [ErrTemporary] and the cause, such as a
// cancelled context.
func (e *TemporaryError) Unwrap() []error {
	if e.err == nil {
		return []error{ErrTemporary}
	}
	return []error{ErrTemporary, e.err}
}

// RefusedError is an [ErrRefused] with the chat's own code and what to do.
type RefusedError struct {
	// Code is the chat's name of the error, such as "channel_not_found".
	Code string
	// Reason says in words what is wrong and what to do.
	Reason string
}

// Error returns what is wrong and what to do.
func (e *RefusedError) Error() string {
	if e.Code == "" {
		return ErrRefused.Error() + ": " + e.Reason
	}
	return ErrRefused.Error() + ": " + e.Reason + " (" + e.Code + ")"
}

// Unwrap makes errors.Is see [ErrRefused].
func (e *RefusedError) Unwrap() error { return ErrRefused }

// passing are the Web API's error codes that go away by themselves.
var passing = map[string]bool{
	"internal_error": true, "fatal_error": true, "service_unavailable": true,
	"request_timeout": true, "ratelimited": true, "rate_limited": true,
	"message_limit_exceeded": true, "team_added_to_org": true, "external_channel_migrating": true,
}

// remedies say what to do about the codes that do not. %s is the channel.
var remedies = map[string]string{
	"channel_not_found":      "there is no channel %s that the app can see: check its name in the club file; a private channel needs the app invited",
	"not_in_channel":         "the app is not in %s: invite it there",
	"is_archived":            "channel %s is archived: unarchive it or name another in the club file",
	"invalid_auth":           "the token is not valid: put a current bot token where the club file says",
	"not_authed":             "no token was sent: put a bot token where the club file says",
	"token_revoked":          "the token was revoked: install the app again and use its new token",
	"token_expired":          "the token has expired: use a new one",
	"account_inactive":       "the token belongs to a removed user or workspace: use a new one",
	"missing_scope":          "the app lacks a permission: add the scope it needs, then install it again",
	"not_allowed_token_type": "this kind of token can't do it: use a bot token",
	"restricted_action":      "a workspace rule forbids the app to post in %s: ask the workspace's admin",
	"no_permission":          "the app may not do this in %s: ask the workspace's admin",
	"msg_too_long":           "the message is too long",
	"msg_blocks_too_long":    "the message is too long",
	"invalid_blocks":         "the message's blocks are not accepted",
	"no_text":                "the message is empty",
	"message_not_found":      "the message is gone from %s: somebody deleted it",
	"cant_update_message":    "the message in %s is not the app's own and can't be changed",
	"edit_window_closed":     "a workspace rule forbids changing the message in %s any more",
	"user_not_found":         "there is no such person: check the id in the club file",
	"cannot_dm_bot":          "that id is a bot's: name a person in the club file",
	"unknown_method":         "the address is not that of the Web API: check api_url in the club file",
}

// classify sorts an error of a call about a channel ("" for none) into the two
// kinds. Nil stays nil. The token never shows: some proxies echo requests.
func classify(err error, channel, token string) error {
	var (
		limited *slack.RateLimitedError
		answer  slack.SlackErrorResponse
		status  slack.StatusCodeError
	)
	switch {
	case err == nil:
		return nil
	case errors.Is(err, ErrTemporary), errors.Is(err, ErrRefused):
		return err
	case errors.As(err, &limited):
		return &TemporaryError{RetryAfter: limited.RetryAfter, Reason: fmt.Sprintf("it asks to wait %s", limited.RetryAfter)}
	case errors.As(err, &answer):
		return byCode(answer, channel)
	case errors.As(err, &status):
		return byStatus(status)
	case errors.Is(err, context.Canceled):
		return &TemporaryError{Reason: "stopped before it answered", err: context.Canceled}
	case errors.Is(err, context.DeadlineExceeded):
		return &TemporaryError{Reason: "it did not answer in time", err: context.DeadlineExceeded}
	default:
		return &TemporaryError{Reason: hide(err.Error(), token)}
	}
}

func byCode(answer slack.SlackErrorResponse, channel string) error {
	if passing[answer.Err] {
		return &TemporaryError{Reason: "it answered " + answer.Err}
	}
	text, known := remedies[answer.Err]
	switch {
	case !known:
		text = "it answered with an error that canter does not know"
	case strings.Contains(text, "%s"):
		text = fmt.Sprintf(text, channel)
	}
	if answer.Needed != "" {
		text += "; needed: " + answer.Needed
	}
	return &RefusedError{Code: answer.Err, Reason: text}
}

func byStatus(status slack.StatusCodeError) error {
	if status.Code >= 500 || status.Code == http.StatusRequestTimeout || status.Code == http.StatusTooManyRequests {
		return &TemporaryError{Reason: fmt.Sprintf("it answered with status %d", status.Code)}
	}
	return &RefusedError{Reason: fmt.Sprintf("the address answered with status %d, which the Web API never does: check api_url in the club file and any proxy", status.Code)}
}

// hide removes the token from a text.
func hide(text, token string) string {
	if token == "" {
		return text
	}
	return strings.ReplaceAll(text, token, "(token)")
}
