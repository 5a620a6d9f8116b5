package postgres

import "context"

// SettingIn returns a server's setting as the account's transaction that ctx
// belongs to has it.
func SettingIn(ctx context.Context, name string) (value string, err error) {
	o := ctx.Value(openKey{}).(open)
	err = o.tx.QueryRow(ctx, `select current_setting($1)`, name).Scan(&value)
	return value, err
}
