package fleet

import (
	"database/sql"
	"fmt"
	"math"
	"strconv"
	"strings"

	"scanledger/transform/engine"
)

// bind puts the values of parameters, such as $from and $1, into a query as literals.
func bind(query string, args []any) (string, error) {
	values := map[string]string{}
	for i, a := range args {
		name := strconv.Itoa(i + 1)
		if named, ok := a.(sql.NamedArg); ok {
			name, a = named.Name, named.Value
		}
		value, err := literal(a)
		if err != nil {
			return "", fmt.Errorf("parameter $%s: %w", name, err)
		}
		values["$"+name] = value
	}
	var b strings.Builder
	for _, t := range tokens(query) {
		if t.kind == word && strings.HasPrefix(t.text, "$") {
			value, ok := values[t.text]
			if !ok {
				return "", fmt.Errorf("parameter %s has no value", t.text)
			}
			t.text = value
		}
		b.WriteString(t.text)
	}
	return b.String(), nil
}

// literal is a value as SQL of the embedded engine.
func literal(value any) (string, error) {
	switch v := value.(type) {
	case nil:
		return "NULL", nil
	case string:
		return engine.Quote(v), nil
	case bool:
		return strconv.FormatBool(v), nil
	case int:
		return strconv.Itoa(v), nil
	case int32:
		return strconv.FormatInt(int64(v), 10), nil
	case int64:
		return strconv.FormatInt(v, 10), nil
	case float64:
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return "", fmt.Errorf("%g is no number", v)
		}
		return strconv.FormatFloat(v, 'E', -1, 64), nil
	}
	return "", fmt.Errorf("a %T has no literal", value)
}
