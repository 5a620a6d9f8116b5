package postgres

import "context"

// KeptKey returns a key of the service itself by its name, made and kept the first
// time. Any number of processes may ask at once: all get the same.
func (s *Store) KeptKey(ctx context.Context, name string, fresh func() (string, error)) (string, error) {
	key, err := fresh()
	if err != nil {
		return "", err
	}
	err = s.InSystem(ctx, func(ctx context.Context, tx *SystemTx) error {
		_, err := tx.tx.Exec(ctx, `insert into service_keys (name, key) values ($1, $2) on conflict (name) do nothing`,
			name, key)
		if err != nil {
			return err
		}
		return tx.tx.QueryRow(ctx, `select key from service_keys where name = $1`, name).Scan(&key)
	})
	return key, wrap("reading a key of the service", err)
}
