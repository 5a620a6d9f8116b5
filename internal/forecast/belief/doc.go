// Package belief owns what is believed about the rain of one day: weighted
// members that each carry the whole day, so that what is seen at one hour says
// something about the next ones.
//
//	lib, err := belief.Embedded()
//	b, err := belief.New(lib, scenarios, belief.Window{...})
//	weights := b.Posterior(seen, nowcast)
//
// Members are the scenarios' own, some moved by an hour or two, and days of the
// nearest climates among the station records that ship with the binary, chosen
// by how well they suit the feed's hourly chances. All are tied to these
// chances and amounts by rank (the Schaake shuffle: Clark and others 2004,
// Journal of Hydrometeorology 5:243; ensemble copula coupling: Schefzik and
// others 2013, Statistical Science 28:616). A small share is days of the season
// as they are.
//
// On the training records, each with its own region left out of the library,
// the scenarios' own series foresaw rain in the next five hours better than
// such days alone did (mean log score 0.159 against 0.166 with a nowcast), and
// heavy rain a little worse (0.053 against 0.051): so both are used.
package belief
