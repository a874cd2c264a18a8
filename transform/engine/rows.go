package engine

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"io"
	"reflect"
	"strconv"
)

// Each runs a query and calls visit for every row with the row's scanner.
//
// Rows come straight from the driver: the package sql takes two locks a row, and a text for every number that is to be an int.
func (e *Engine) Each(ctx context.Context, query string, args []any, visit func(scan func(dest ...any) error) error) error {
	err := e.conn.Raw(func(conn any) error { return each(ctx, conn.(querier), query, args, visit) })
	if err != nil {
		return ended(ctx, fmt.Errorf("query %s: %w", firstLine(query), err))
	}
	return nil
}

// querier is what the driver's connections are.
type querier interface {
	driver.QueryerContext
	driver.NamedValueChecker
}

func each(ctx context.Context, conn querier, query string, args []any, visit func(scan func(dest ...any) error) error) (err error) {
	values, err := bound(conn, args)
	if err != nil {
		return err
	}
	rows, err := conn.QueryContext(ctx, query, values)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	row := make([]driver.Value, len(rows.Columns()))
	scan := func(dest ...any) error { return scanRow(row, dest) }
	for {
		if err := ctx.Err(); err != nil {
			return err
		}
		switch err := rows.Next(row); {
		case errors.Is(err, io.EOF):
			return nil
		case err != nil:
			return err
		}
		if err := visit(scan); err != nil {
			return err
		}
	}
}

// bound turns arguments into what the driver binds.
func bound(conn driver.NamedValueChecker, args []any) ([]driver.NamedValue, error) {
	values := make([]driver.NamedValue, len(args))
	for i, arg := range args {
		v := driver.NamedValue{Ordinal: i + 1, Value: arg}
		if named, ok := arg.(sql.NamedArg); ok {
			v.Name, v.Value = named.Name, named.Value
		}
		err := conn.CheckNamedValue(&v)
		if errors.Is(err, driver.ErrSkip) {
			v.Value, err = driver.DefaultParameterConverter.ConvertValue(v.Value)
		}
		if err != nil {
			return nil, fmt.Errorf("argument %d (%s): %w", i+1, v.Name, err)
		}
		values[i] = v
	}
	return values, nil
}

// scanRow copies a row to where dest points.
func scanRow(row []driver.Value, dest []any) error {
	if len(row) != len(dest) {
		return fmt.Errorf("a row of %d columns for %d variables", len(row), len(dest))
	}
	for i, value := range row {
		if err := assign(dest[i], value); err != nil {
			return fmt.Errorf("column %d: %w", i+1, err)
		}
	}
	return nil
}

// assign copies a value to where dest points: first the types that nearly all values have, then all others by their kind.
func assign(dest any, value driver.Value) error {
	switch to := dest.(type) {
	case *string:
		if v, ok := value.(string); ok {
			*to = v
			return nil
		}
	case *int:
		switch v := value.(type) {
		case int64:
			*to = int(v)
			return nil
		case int32:
			*to = int(v)
			return nil
		}
	case *int64:
		if v, ok := value.(int64); ok {
			*to = v
			return nil
		}
	case *float64:
		if v, ok := value.(float64); ok {
			*to = v
			return nil
		}
	case *bool:
		if v, ok := value.(bool); ok {
			*to = v
			return nil
		}
	case *any:
		*to = value
		return nil
	}
	return convert(reflect.ValueOf(dest).Elem(), value)
}

// convert sets a variable to a value of another type that says the same. A pointer is nil for NULL.
func convert(to reflect.Value, value driver.Value) error {
	if to.Kind() == reflect.Pointer {
		if value == nil {
			to.SetZero()
			return nil
		}
		to.Set(reflect.New(to.Type().Elem()))
		return assign(to.Interface(), value)
	}
	if value == nil {
		return fmt.Errorf("NULL for a %s", to.Type())
	}
	switch from := reflect.ValueOf(value); {
	case from.Type().AssignableTo(to.Type()):
		to.Set(from)
		return nil
	case from.CanInt() && to.CanInt() && !to.OverflowInt(from.Int()):
		to.SetInt(from.Int())
		return nil
	case from.CanFloat() && to.CanFloat():
		to.SetFloat(from.Float())
		return nil
	}
	text := fmt.Sprint(value)
	wrong := fmt.Errorf("%s (%T) for a %s", text, value, to.Type())
	switch kind := to.Kind(); {
	case kind == reflect.String:
		to.SetString(text)
	case to.CanInt():
		n, err := strconv.ParseInt(text, 10, to.Type().Bits())
		if err != nil {
			return wrong
		}
		to.SetInt(n)
	case to.CanFloat():
		x, err := strconv.ParseFloat(text, to.Type().Bits())
		if err != nil {
			return wrong
		}
		to.SetFloat(x)
	default:
		return wrong
	}
	return nil
}
