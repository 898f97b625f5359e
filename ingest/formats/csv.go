package formats

import "canter.example/schemas"

func decodeCSV(text []byte, encoding string, opt Options, b *budget) ([]schemas.Trace, *Error) {
	return nil, problem(ErrUnknownFormat, "", "x", "x")
}
