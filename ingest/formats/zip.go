package formats

import "canter.example/schemas"

func decodeZIP(content []byte, opt Options, b *budget, nesting int) ([]schemas.Trace, *Error) {
	return nil, problem(ErrUnknownFormat, "", "x", "x")
}
