// Package local owns a PostgreSQL server of the service's own, for one machine
// without a DATABASE_URL: it finds the binaries, makes the cluster, starts it
// or adopts one that outlived the service, and stops it.
//
//	srv, err := local.Start(ctx, local.Options{DataDir: ".data", Log: log})
//	defer srv.Stop(context.Background())
//	store, err := postgres.Open(ctx, srv.URL())
//
// # Where things lie
//
//	DataDir/lock             held while a service uses the folder
//	DataDir/passwords.json   of the three roles, readable by the service alone
//	DataDir/postgres.log     what the server says
//	DataDir/postgres-folder  where the next folder lies, when not here
//	DataDir/postgres/cluster the cluster, owned by the server's user
//	DataDir/postgres/run     its socket, unless that path would be too long
//
// # A start, step by step
//
//	       lock held by another service ------------> error
//	                    |
//	no cluster: initdb aside, rename    (a killed initdb leaves only a folder aside)
//	                    |
//	postmaster.pid --- none, dead, zombie or not ours ---> start
//	                    |                                    |
//	             alive in our cluster                 ready, or died: why
//	                    |                                    |
//	                  adopt <-------- roles and database are made sure of
//
// PostgreSQL itself recovers its files after a crash; this package never
// touches them. It removes a postmaster.pid only when no process works in the
// cluster's folder.
package local
